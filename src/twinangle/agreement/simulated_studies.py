"""Studies of a planned design, simulated: how precise and how honest their limits are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._participants import ParticipantLimits, limits_over_participants
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._result import Result, spaced
from twinangle.agreement.limits import FEWEST_PARTICIPANTS
from twinangle.agreement.planning import check_spread


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedStudies(Result):
    """What simulated studies of a design found.

    Attributes
    ----------
    n_participants, n_cycles, n_studies : int
        The design, and how many studies of it.
    mean_half_width : float
        Mean over studies of half the width of the interval of a limit.
    coverage_of_limit, coverage_of_bias : float
        Share of intervals that hold the true limit (both limits counted) and the true bias.
    power_bias, power_limits : float
        Share of studies that show the bias, and the limits with their intervals, to lie within
        the margin; NaN without a margin.
    standard_error : float
        Monte Carlo standard error of the shares, at most.
    assumptions : tuple of str
        What was simulated.
    """

    n_participants: int
    n_cycles: int
    n_studies: int
    mean_half_width: float
    coverage_of_limit: float
    coverage_of_bias: float
    power_bias: float
    power_limits: float
    standard_error: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"{self.n_studies} simulated studies of {self.n_participants} participants and "
            f"{self.n_cycles} cycles: limits known to ± {self.mean_half_width:.2f}{spaced(unit)}, "
            f"intervals held the truth in {100 * self.coverage_of_limit:.1f} %{self._shown()}."
        )

    def _shown(self) -> str:
        """Return how many studies showed what is to be shown, in words."""
        if np.isnan(self.power_bias):
            return ""
        return (
            f"; the bias was shown to lie within the margin in {100 * self.power_bias:.0f} %, the "
            f"limits in {100 * self.power_limits:.0f} %"
        )


def simulate_studies(
    n_participants: int,
    n_cycles: int,
    *,
    sd_between: float,
    sd_within: float,
    rng: np.random.Generator,
    n_studies: int = 1000,
    bias: float = 0.0,
    margin: float | None = None,
    confidence: float = 0.95,
) -> SimulatedStudies:
    """Simulate studies of a design and see how precise, and how honest, their limits are.

    Parameters
    ----------
    n_participants, n_cycles : int
        At least 4 participants and 1 cycle each.
    sd_between, sd_within : float
        Standard deviations of the differences.
    rng : numpy.random.Generator
        Source of the studies.
    n_studies : int, default 1000
        How many.
    bias : float, default 0
        True bias.
    margin : float, optional
        Largest acceptable difference in either direction, to be shown.
    confidence : float, default 0.95
        Of the intervals and of the claims.

    Returns
    -------
    SimulatedStudies

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Every study goes through the computation of `limits_of_agreement`, all studies at once. The
    bias is shown by two one-sided tests, the limits by the outer ends of their intervals, as in
    `equivalence`.
    """
    if n_participants < FEWEST_PARTICIPANTS or n_cycles < 1 or n_studies < 1:
        raise ValueError(
            f"at least {FEWEST_PARTICIPANTS} participants, 1 cycle and 1 study are needed, got "
            f"{n_participants}, {n_cycles}, {n_studies}."
        )
    if margin is not None and not margin > 0:
        raise ValueError(f"`margin` must be above 0, got {margin!r}.")
    total = check_spread(sd_between, sd_within, n_cycles)
    confidence = fraction(confidence, "confidence")
    means, shrunk = _draw(rng, (n_participants, n_studies), n_cycles, sd_between, sd_within)
    found = _limits(means + bias, shrunk, n_cycles, confidence)
    reach = half_width(0.95) * total
    lower, upper = bias - reach, bias + reach
    held = (found.lower_low <= lower) & (lower <= found.lower_high)
    held_upper = (found.upper_low <= upper) & (upper <= found.upper_high)
    power_bias, power_limits = _shown_within(found, n_participants, margin, confidence)
    return SimulatedStudies(
        n_participants=n_participants,
        n_cycles=n_cycles,
        n_studies=n_studies,
        mean_half_width=float(np.mean(found.upper_high - found.upper_low)) / 2,
        coverage_of_limit=float(np.mean(held) + np.mean(held_upper)) / 2,
        coverage_of_bias=float(np.mean(np.abs(found.bias - bias) <= found.half)),
        power_bias=power_bias,
        power_limits=power_limits,
        standard_error=0.5 / float(np.sqrt(n_studies)),
        assumptions=(
            (
                f"Normal differences, SD {sd_between:g} between and {sd_within:g} within "
                "participants, no serial correlation."
            ),
        ),
    )


def _draw(
    rng: np.random.Generator,
    shape: tuple[int, int],
    n_cycles: int,
    sd_between: float,
    sd_within: float,
) -> tuple[Floats, Floats]:
    """Return participants' means, and the share of variance that their means leave out."""
    level = sd_between * rng.standard_normal(shape)
    means = level + sd_within / np.sqrt(n_cycles) * rng.standard_normal(shape)
    if n_cycles == 1:
        return means, np.zeros(shape)
    # a variance of n cycles is chi-squared on n - 1, unrelated to their mean
    return means, sd_within**2 * rng.chisquare(n_cycles - 1, shape) / n_cycles


def _limits(means: Floats, shrunk: Floats, n_cycles: int, confidence: float) -> ParticipantLimits:
    """Return every study's limits, with exact intervals where there is one pair each."""
    z = half_width(0.95)
    found = limits_over_participants(means, shrunk, confidence, z)
    if n_cycles > 1:
        return found
    inner, outer = exact_limit_factors(means.shape[0], confidence=confidence)
    return replace(
        found,
        lower_low=found.bias - outer * found.sd,
        lower_high=found.bias - inner * found.sd,
        upper_low=found.bias + inner * found.sd,
        upper_high=found.bias + outer * found.sd,
    )


def _shown_within(
    found: ParticipantLimits, k: int, margin: float | None, confidence: float
) -> tuple[float, float]:
    """Return the shares of studies that show bias and limits to lie within the margin."""
    if margin is None:
        return float("nan"), float("nan")
    student = two_sided_student(2 * confidence - 1, k - 1) / two_sided_student(confidence, k - 1)
    bias = np.abs(found.bias) + student * found.half <= margin
    limits = (found.lower_low >= -margin) & (found.upper_high <= margin)
    return float(np.mean(bias)), float(np.mean(limits))


def simulated_power_of_ratio(
    n_participants: int,
    ratio: float,
    *,
    sd_log_ratio: float,
    rng: np.random.Generator,
    n_studies: int = 10_000,
    confidence: float = 0.95,
) -> float:
    """Return the share of simulated studies that show two per-cycle SDs to differ by a ratio.

    Parameters
    ----------
    n_participants : int
        At least 2.
    ratio : float
        True ratio, above 0.
    sd_log_ratio : float
        SD over participants of its logarithm.
    rng : numpy.random.Generator
        Source of the studies.
    n_studies : int, default 10000
        How many.
    confidence : float, default 0.95
        Of the two-sided paired t test of the logarithms.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if n_participants < 2 or not (ratio > 0 and sd_log_ratio > 0) or n_studies < 1:
        raise ValueError(
            "at least 2 participants, a ratio and an SD above 0, and 1 study are needed, got "
            f"{n_participants}, {ratio:g}, {sd_log_ratio:g}, {n_studies}."
        )
    shape = (n_participants, n_studies)
    logs = np.log(ratio) + sd_log_ratio * rng.standard_normal(shape)
    t = two_sided_student(fraction(confidence, "confidence"), n_participants - 1)
    half = t * logs.std(axis=0, ddof=1) / np.sqrt(n_participants)
    mean = logs.mean(axis=0)
    # shown in its own direction; a wrong sign is no success
    return float(np.mean(np.sign(np.log(ratio)) * mean > half))
