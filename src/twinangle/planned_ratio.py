"""How many participants show that the variability between cycles differs between conditions."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize
from statsmodels.stats.power import TTestPower

from twinangle.agreement.conditions import FEWEST_CYCLES, compare_conditions
from twinangle.agreement.limits import FEWEST_PARTICIPANTS
from twinangle.agreement.planning import MOST_PARTICIPANTS, SampleSize, smallest

STUDIES = 100  # a round; each goes through the whole comparison of conditions
ROUNDS = 3
_MOST_SHIFT = 12.0  # noncentrality


def participants_for_sd_ratio(
    ratio: float,
    *,
    sd_log_ratio: float,
    cycles: tuple[int, int],
    rng: np.random.Generator,
    power: float = 0.8,
    confidence: float = 0.95,
    n_studies: int = STUDIES,
) -> SampleSize:
    """Find the participants that can show two per-cycle SDs to differ by a ratio.

    Parameters
    ----------
    ratio : float
        True ratio of the SDs, other condition over base condition, above 0 and not 1.
    sd_log_ratio : float
        SD over participants of its true logarithm, 0 or more; the error of SDs from few cycles
        comes on top, by simulation.
    cycles : tuple of int
        Cycles of a participant under the base condition and under the other one, at least 3.
    rng : numpy.random.Generator
        Source of the simulated studies.
    power, confidence : float
        Probability of success wanted, and confidence of the interval of the ratio.
    n_studies : int, default 100
        Simulated studies in each of up to three rounds.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or more than 1000 participants would be needed.

    Notes
    -----
    Shown: the interval of the ratio that `compare_conditions` gives lies beyond 1 on the true side.
    Its power is close to that of a paired t test of the logarithms, with an effect size that the
    method's own spread decides. Round by round, studies of the size that the latest effect size
    asks for are simulated and their share of successes is turned into an effect size (power from
    statsmodels, the noncentral t); the size is the least that the mean of these asks for. A
    participant's SD is simulated from one normal value a cycle, on the safe side for curves, whose
    points vary partly on their own.
    """
    _check(ratio, sd_log_ratio, cycles, power)
    sampling = sum(0.5 / (n - 1) for n in cycles)
    guess = abs(float(np.log(ratio))) / float(np.sqrt(sd_log_ratio**2 + sampling))
    n, effects = _needed(guess, power, confidence), []
    for _ in range(ROUNDS):
        shown = [_shown(rng, n, ratio, sd_log_ratio, cycles, confidence) for _ in range(n_studies)]
        share = float(np.clip(np.mean(shown), 0.5 / n_studies, 1 - 0.5 / n_studies))
        effects.append(_effect(share, n, confidence))
        n = _needed(float(np.mean(effects)), power, confidence)
        if n == FEWEST_PARTICIPANTS and np.mean(shown) > (1 + power) / 2:
            break  # plainly more than is wanted with the fewest people there can be
    reached = _power(float(np.mean(effects)), n, confidence)
    return SampleSize(
        aim="the SDs over cycles of two conditions shown to differ by a true ratio of ",
        target=ratio,
        n=n,
        unit_counted="participants",
        wanted=power,
        reached=reached,
        standard_error=float(np.sqrt(reached * (1 - reached) / (len(effects) * n_studies))),
        assumptions=(
            (
                f"Simulated: {cycles[0]} cycles a participant under the one and {cycles[1]} under "
                f"the other condition, normal and without serial correlation; the logarithm of the "
                f"true ratio varies over participants with SD {sd_log_ratio:g}."
            ),
        ),
    )


def _shown(
    rng: np.random.Generator,
    n: int,
    ratio: float,
    sd_log_ratio: float,
    cycles: tuple[int, int],
    confidence: float,
) -> bool:
    """Simulate one study and return whether its comparison shows the ratio, on its true side."""
    scales = ratio * np.exp(sd_log_ratio * rng.standard_normal(n))
    rows: list[tuple[str, str]] = []
    curves: list[ArrayLike] = []
    for person, scale in enumerate(scales):
        for name, count, sd in (("base", cycles[0], 1.0), ("other", cycles[1], scale)):
            rows.append((str(person), name))
            curves.append(sd * rng.standard_normal((count, 1)))
    frame = pd.DataFrame(rows, columns=["participant", "condition"])
    (compared,) = compare_conditions(
        frame, against="base", variability=curves, confidence=confidence
    )
    return compared.ratio_ci[0] > 1 if ratio > 1 else compared.ratio_ci[1] < 1


def _power(effect: float, n: int, confidence: float) -> float:
    """Return the power of the paired t test at an effect size, on the true side."""
    # beyond this the power is 1 and the noncentral t no longer a number
    kept = min(effect, _MOST_SHIFT / np.sqrt(n))
    return float(TTestPower().power(kept, n, (1 - confidence) / 2, alternative="larger"))


def _effect(share: float, n: int, confidence: float) -> float:
    """Return the effect size at which the paired t test has a power."""
    least = max(share, 0.51 * (1 - confidence))  # what it has without an effect is half of that
    most = _MOST_SHIFT / np.sqrt(n)
    return float(optimize.brentq(lambda e: _power(e, n, confidence) - least, 0.0, most, xtol=1e-6))


def _needed(effect: float, power: float, confidence: float) -> int:
    """Return the participants that a paired t test needs, at least as many as limits do."""
    return smallest(
        lambda n: _power(effect, n, confidence) >= power,
        FEWEST_PARTICIPANTS, MOST_PARTICIPANTS, "participants",
    )  # fmt: skip


def _check(ratio: float, sd_log_ratio: float, cycles: tuple[int, int], power: float) -> None:
    """Refuse numbers out of range."""
    if not (np.isfinite(ratio) and ratio > 0):
        raise ValueError(f"`ratio` must be above 0, got {ratio!r}.")
    if ratio == 1:
        raise ValueError("`ratio` is 1: there is no difference to be shown.")
    if not (np.isfinite(sd_log_ratio) and sd_log_ratio >= 0):
        raise ValueError(f"`sd_log_ratio` must be 0 or more, got {sd_log_ratio!r}.")
    if min(cycles) < FEWEST_CYCLES:
        raise ValueError(
            f"SDs over cycles are compared from {FEWEST_CYCLES} cycles a participant and condition "
            f"on, got {cycles[0]} and {cycles[1]}."
        )
    if not 0 < power < 1:
        raise ValueError(f"`power` must lie between 0 and 1, got {power!r}.")
