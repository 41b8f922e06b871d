"""Studies of a planned design, simulated: how precise and how honest their limits are."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement._participants import ParticipantLimits, limits_over_participants
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Result, counted, quantity
from twinangle.agreement.equivalence import inside_margin, outside_margin
from twinangle.checks import require_positive

STUDIES = 4000
_BLOCK = 8  # participants drawn at once: the first k are the same whatever comes after them


@dataclass(frozen=True, slots=True)
class LimitsDesign:
    """What is expected of the differences of a planned study.

    Attributes
    ----------
    sd_between, sd_within : float
        Standard deviations of the differences between and within participants.
    n_cycles : int
        Cycles a participant.
    bias : float
        True bias.
    """

    sd_between: float
    sd_within: float = 0.0
    n_cycles: int = 1
    bias: float = 0.0

    def __post_init__(self) -> None:
        spreads = (self.sd_between, self.sd_within)
        if min(spreads) < 0 or not sum(spreads) > 0 or self.n_cycles < 1:
            raise ValueError(
                "`sd_between` and `sd_within` must be 0 or more and not both 0, `n_cycles` at "
                f"least 1; got {self.sd_between!r}, {self.sd_within!r}, {self.n_cycles!r}."
            )

    @property
    def limits(self) -> tuple[float, float]:
        """True limits of agreement, bias ∓ 1.96 SD of a single difference."""
        reach = half_width(0.95) * float(np.hypot(self.sd_between, self.sd_within))
        return self.bias - reach, self.bias + reach

    @property
    def in_words(self) -> str:
        """What was simulated, in a sentence."""
        each = counted(self.n_cycles, "cycle")
        return (
            f"Simulated: {each} a participant, normal differences with bias {self.bias:g}, SD "
            f"{self.sd_between:g} between and {self.sd_within:g} within participants, the same in "
            "everyone, no serial correlation."
        )


@dataclass(slots=True)
class StudyPool:
    """Simulated studies of one design that grow by participants, the first ones staying the same.

    Studies of different sizes thus share their random numbers, which makes what they reach a
    smooth function of the size.
    """

    design: LimitsDesign
    rng: np.random.Generator
    n_studies: int = STUDIES
    _means: Floats = field(init=False)
    _shrunk: Floats = field(init=False)

    def __post_init__(self) -> None:
        if self.n_studies < 1:
            raise ValueError(f"`n_studies` must be at least 1, got {self.n_studies!r}.")
        self._means = self._shrunk = np.empty((0, self.n_studies))

    def limits(self, n_participants: int, confidence: float) -> ParticipantLimits:
        """Return the limits of every study, with the intervals that `limits_of_agreement` gives.

        Raises
        ------
        ValueError
            If there are fewer participants than an interval needs.
        """
        if n_participants < FEWEST_PARTICIPANTS:
            raise ValueError(
                f"at least {FEWEST_PARTICIPANTS} participants are needed, got {n_participants}."
            )
        while len(self._means) < n_participants:
            means, shrunk = self._draw()
            self._means = np.concatenate([self._means, means])
            self._shrunk = np.concatenate([self._shrunk, shrunk])
        means, shrunk = self._means[:n_participants], self._shrunk[:n_participants]
        return study_limits(means + self.design.bias, shrunk, self.design.n_cycles, confidence)

    def _draw(self) -> tuple[Floats, Floats]:
        """Return further participants' means, and what the means leave out of the variance."""
        design, shape = self.design, (_BLOCK, self.n_studies)
        level = design.sd_between * self.rng.standard_normal(shape)
        error = design.sd_within / np.sqrt(design.n_cycles)
        means = level + error * self.rng.standard_normal(shape)
        if design.n_cycles == 1:
            return means, np.zeros(shape)
        # a variance of n cycles is chi-squared on n - 1, unrelated to their mean
        squares = self.rng.chisquare(design.n_cycles - 1, shape)
        return means, design.sd_within**2 * squares / design.n_cycles


def study_limits(
    means: Floats, shrunk: Floats, n_cycles: int, confidence: float
) -> ParticipantLimits:
    """Return the limits of many studies at once, as `limits_of_agreement` has them.

    Parameters
    ----------
    means, shrunk : ndarray, shape (k, n_studies)
        As `limits_over_participants`.
    n_cycles : int
        Cycles a participant; with 1 the intervals are the exact ones.
    confidence : float
        Of the intervals.

    Returns
    -------
    ParticipantLimits
    """
    found = limits_over_participants(means, shrunk, confidence, half_width(0.95))
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


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedStudies(Result):
    """What simulated studies of a design found.

    Attributes
    ----------
    n_participants, n_cycles, n_studies : int
        The design, and how many studies of it.
    mean_half_width : float
        Mean over studies of half the width of the interval of a limit.
    inner_arm, outer_arm : float
        Means over studies of how far the interval reaches from the limit towards the bias, and
        away from it.
    coverage_of_limit, coverage_of_bias : float
        Share of intervals that hold the true limit (both limits counted) and the true bias.
    share_inside, share_outside : float
        Share of studies whose verdict is that the limits are inside the margin, or outside; NaN
        without a margin.
    standard_error : float
        Monte Carlo standard error of the shares, at most.
    assumptions : tuple of str
        What was simulated.
    """

    n_participants: int
    n_cycles: int
    n_studies: int
    mean_half_width: float
    inner_arm: float
    outer_arm: float
    coverage_of_limit: float
    coverage_of_bias: float
    share_inside: float
    share_outside: float
    standard_error: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        cycles, half = counted(self.n_cycles, "cycle"), quantity(self.mean_half_width, unit)
        inner, outer = quantity(self.inner_arm, unit), quantity(self.outer_arm, unit)
        return (
            f"{self.n_studies} simulated studies of {self.n_participants} participants with "
            f"{cycles} each: the interval of a limit is ± {half} on average, lopsided: it reaches "
            f"{inner} from the limit towards the bias and {outer} away from it. It held the true "
            f"limit in {100 * self.coverage_of_limit:.1f} %{self._judged()}."
        )

    def _judged(self) -> str:
        """Return the verdicts, in words."""
        if np.isnan(self.share_inside):
            return ""
        inside, outside = 100 * self.share_inside, 100 * self.share_outside
        return (
            f"; verdict against the margin: inside in {inside:.1f} %, outside in "
            f"{outside:.1f} %, undecided in {100 - inside - outside:.1f} %"
        )


def simulate_studies(
    n_participants: int,
    n_cycles: int,
    *,
    sd_between: float,
    sd_within: float,
    rng: np.random.Generator,
    n_studies: int = STUDIES,
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
    n_studies : int, default 4000
        How many.
    bias : float, default 0
        True bias.
    margin : float, optional
        Largest acceptable difference in either direction.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    SimulatedStudies

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Every study goes through the computation of `limits_of_agreement` and the rule of
    `judge_limits`, all studies at once.
    """
    if margin is not None:
        require_positive(margin, "margin")
    confidence = fraction(confidence, "confidence")
    design = LimitsDesign(sd_between, sd_within, n_cycles, bias)
    found = StudyPool(design, rng, n_studies).limits(n_participants, confidence)
    lower, upper = design.limits
    held = (found.lower_low <= lower) & (lower <= found.lower_high)
    held_upper = (found.upper_low <= upper) & (upper <= found.upper_high)
    at = half_width(0.95) * found.sd
    inner = (found.bias + at - found.upper_low) + (found.lower_high - found.bias + at)
    outer = (found.upper_high - found.bias - at) + (found.bias - at - found.lower_low)
    inside, outside = _judged(found, margin)
    return SimulatedStudies(
        n_participants=n_participants,
        n_cycles=n_cycles,
        n_studies=n_studies,
        mean_half_width=float(np.mean(inner + outer)) / 4,
        inner_arm=float(np.mean(inner)) / 2,
        outer_arm=float(np.mean(outer)) / 2,
        coverage_of_limit=float(np.mean(held) + np.mean(held_upper)) / 2,
        coverage_of_bias=float(np.mean(np.abs(found.bias - bias) <= found.half)),
        share_inside=inside,
        share_outside=outside,
        standard_error=0.5 / float(np.sqrt(n_studies)),
        assumptions=(design.in_words,),
    )


def _judged(found: ParticipantLimits, margin: float | None) -> tuple[float, float]:
    """Return the shares of studies whose limits are judged inside and outside the margin."""
    if margin is None:
        return float("nan"), float("nan")
    inside = inside_margin(found.lower_low, found.upper_high, margin)
    outside = outside_margin(found.lower_high, found.upper_low, margin)
    return float(np.mean(inside)), float(np.mean(outside))
