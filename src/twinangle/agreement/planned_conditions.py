"""How many participants show that the variability between cycles differs between conditions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement.condition_spread import ConditionSpread, PairedSpread, paired_spread
from twinangle.agreement.condition_trials import FEWEST_CYCLES
from twinangle.agreement.planning import MOST_PARTICIPANTS, SampleSize, smallest
from twinangle.checks import require_not_negative, require_positive

STUDIES = 400  # a round, up to 30 people; fewer above, for a study costs the square of its people
ROUNDS = 3
_MOST_SHIFT = 12.0  # noncentrality


@dataclass(frozen=True, slots=True)
class RatioDesign:
    """What is expected of two conditions' per-cycle SDs.

    Attributes
    ----------
    ratio : float
        True ratio of the SDs, other condition over base condition.
    sd_log_ratio : float
        SD over participants of its logarithm.
    cycles : tuple of int
        Cycles of a participant under the base condition and under the other one.
    """

    ratio: float
    sd_log_ratio: float
    cycles: tuple[int, int]

    def __post_init__(self) -> None:
        require_positive(self.ratio, "ratio")
        if self.ratio == 1:
            raise ValueError("`ratio` is 1: there is no difference to be shown.")
        require_not_negative(self.sd_log_ratio, "sd_log_ratio")
        if min(self.cycles) < FEWEST_CYCLES:
            raise ValueError(
                f"SDs over cycles are compared from {FEWEST_CYCLES} cycles a participant and "
                f"condition on, got {self.cycles[0]} and {self.cycles[1]}."
            )

    @property
    def in_words(self) -> str:
        """What was simulated, in a sentence."""
        base, other = self.cycles
        return (
            f"Simulated: {base} cycles a participant under the one and {other} under the other "
            "condition, normal and without serial correlation; the logarithm of the true ratio "
            f"varies over participants with SD {self.sd_log_ratio:g}."
        )


def participants_for_sd_ratio(
    ratio: float,
    *,
    sd_log_ratio: float,
    cycles: tuple[int, int],
    rng: np.random.Generator,
    power: float = 0.8,
    confidence: float = 0.95,
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

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or more than 1000 participants would be needed.

    Notes
    -----
    Shown: the interval of the ratio, by the comparison of conditions that a run makes
    (`paired_spread`), lies beyond 1 on the true side. Its power is close to that of a paired t test
    of the logarithms, with an effect size that the method's own spread decides. Up to three rounds
    simulate studies of the size that the effect size so far asks for, and turn their share of
    successes into an effect size (power of the t test from statsmodels, noncentral t); the size is
    the least that the mean of these asks for. A participant's SD is simulated from one normal value
    a cycle, on the safe side for curves, whose points vary partly on their own.
    """
    design = RatioDesign(ratio, sd_log_ratio, cycles)
    power, confidence = fraction(power, "power"), fraction(confidence, "confidence")
    sampling = sum(0.5 / (n - 1) for n in cycles)
    effect = abs(float(np.log(ratio))) / float(np.sqrt(sd_log_ratio**2 + sampling))
    n, effects, studies = _needed(effect, power, confidence), list[float](), 0
    for _ in range(ROUNDS):
        size = int(np.clip(STUDIES * (30 / n) ** 2, STUDIES / 4, STUDIES))
        share = float(np.mean(_shown(simulated_ratios(rng, n, size, design, confidence), ratio)))
        effects.append(_effect(float(np.clip(share, 0.5 / size, 1 - 0.5 / size)), n, confidence))
        effect, studies = float(np.mean(effects)), studies + size
        n = _needed(effect, power, confidence)
        if n == FEWEST_PARTICIPANTS and share > (1 + power) / 2:
            break  # plainly more than is wanted with the fewest people there can be
    reached = _power(effect, n, confidence)
    return SampleSize(
        aim="the SDs over cycles of two conditions shown to differ by a true ratio of ",
        target=ratio,
        n=n,
        unit_counted="participants",
        wanted=power,
        reached=reached,
        standard_error=float(np.sqrt(reached * (1 - reached) / studies)),
        assumptions=(
            design.in_words,
            "What the sizes simulated reach is carried over by the power of a paired t test.",
        ),
    )


def simulated_ratios(
    rng: np.random.Generator,
    n_participants: int,
    n_studies: int,
    design: RatioDesign,
    confidence: float,
) -> PairedSpread:
    """Simulate studies of two conditions and compare them, all studies at once.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the studies.
    n_participants, n_studies : int
        How many.
    design : RatioDesign
        What is expected.
    confidence : float
        Of the intervals.

    Returns
    -------
    PairedSpread
        One value a study.
    """
    shape = (n_participants, n_studies)
    scale = design.ratio * np.exp(design.sd_log_ratio * rng.standard_normal(shape))
    cycles = (
        rng.standard_normal((design.cycles[0], *shape)),
        scale * rng.standard_normal((design.cycles[1], *shape)),
    )
    return paired_spread(spread_of_cycles(*cycles), confidence)


def spread_of_cycles(base: Floats, other: Floats) -> ConditionSpread:
    """Return what one trial a participant and condition says of the spread, many studies at once.

    Parameters
    ----------
    base, other : ndarray, shape (n_cycles, k, n_studies)
        One value a cycle, in the order measured.

    Returns
    -------
    ConditionSpread
    """
    window, shape = min(len(base), len(other)), base.shape[1:]
    found = [_window_spread(each, window) for each in (base, other)]
    centred = [each - each.mean(axis=0) for each in (base, other)]

    def both(values: list[Floats]) -> Floats:
        return np.stack(values, axis=1)

    return ConditionSpread(
        window=np.full(shape, float(window)),
        log_sd=both([log for log, _ in found]),
        sd=both([sd for _, sd in found]),
        n=both([np.full(shape, float(len(each))) for each in centred])[:, :, None],
        lag0=both([(each**2).sum(axis=0) for each in centred])[:, :, None],
        lag1=both([(each[1:] * each[:-1]).sum(axis=0) for each in centred])[:, :, None],
        alike=np.ones((shape[0], 2, shape[1])),
    )


def _window_spread(values: Floats, m: int) -> tuple[Floats, Floats]:
    """Return the mean of ln SD and of SD over all runs of m cycles, as `window_spread` does."""
    runs = np.lib.stride_tricks.sliding_window_view(values, m, axis=0)
    sd = runs.std(axis=-1, ddof=1)
    return np.log(sd).mean(axis=0), sd.mean(axis=0)


def _shown(found: PairedSpread, ratio: float) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Return which studies show the ratio on its true side."""
    side = np.sign(np.log(ratio))
    return np.asarray(side * found.log_ratio > found.log_half)


def _power(effect: float, n: int, confidence: float) -> float:
    """Return the power of the paired t test at an effect size, on the true side."""
    from statsmodels.stats.power import TTestPower  # loads much that no run needs

    # beyond this the power is 1 and the noncentral t no longer a number
    kept = min(effect, _MOST_SHIFT / np.sqrt(n))
    return float(TTestPower().power(kept, n, (1 - confidence) / 2, alternative="larger"))


def _effect(share: float, n: int, confidence: float) -> float:
    """Return the effect size at which the paired t test has a power."""
    least = max(share, 0.51 * (1 - confidence))  # what it has without an effect is half of that
    most = _MOST_SHIFT / np.sqrt(n)
    return float(
        scipy.optimize.brentq(lambda e: _power(e, n, confidence) - least, 0.0, most, xtol=1e-6)
    )


def _needed(effect: float, power: float, confidence: float) -> int:
    """Return the participants that a paired t test needs, at least as many as limits do."""
    return smallest(
        lambda n: _power(effect, n, confidence) >= power,
        FEWEST_PARTICIPANTS, MOST_PARTICIPANTS, "participants",
    )  # fmt: skip
