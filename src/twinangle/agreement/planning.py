"""How many participants and cycles a study needs, found by simulating its own analysis."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.agreement._input import fraction
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement._quantiles import chi_square
from twinangle.agreement._result import Result, quantity
from twinangle.agreement.equivalence import inside_margin
from twinangle.agreement.simulated_studies import STUDIES, LimitsDesign, StudyPool
from twinangle.checks import require_positive

MOST_PARTICIPANTS = 1000


@dataclass(frozen=True, slots=True, eq=False)
class SampleSize(Result):
    """Participants or cycles that reach an aim.

    Attributes
    ----------
    aim : str
        What they are to reach, in words that go on with `target`.
    target : float
        Precision, margin or ratio aimed at.
    n : int
        The smallest number that does.
    unit_counted : str
        "participants" or "cycles".
    wanted, reached : float
        Probability wanted, and the share of simulated studies of that size that reach the aim; for
        cycles, the precision wanted and reached.
    standard_error : float
        Monte Carlo standard error of `reached`; NaN where it is no simulated share.
    assumptions : tuple of str
        What the number rests on.
    """

    aim: str
    target: float
    n: int
    unit_counted: str
    wanted: float
    reached: float
    standard_error: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        aim = f"{self.n} {self.unit_counted} are needed for {self.aim}{quantity(self.target, unit)}"
        if np.isnan(self.standard_error):
            return f"{aim} (reached: {quantity(self.reached, unit)})."
        return (
            f"{aim}: {100 * self.reached:.1f} % of simulated studies of that size reach it "
            f"({100 * self.wanted:g} % wanted; Monte Carlo standard error "
            f"{100 * self.standard_error:.1f} %)."
        )


def participants_for_limits(
    precision: float,
    *,
    sd_between: float,
    rng: np.random.Generator,
    sd_within: float = 0.0,
    n_cycles: int = 1,
    assurance: float = 0.8,
    confidence: float = 0.95,
    n_studies: int = STUDIES,
) -> SampleSize:
    """Find the participants whose interval of a limit is narrow enough, with an assurance.

    Parameters
    ----------
    precision : float
        Half the width of the interval of a limit that is wanted, in the unit of the differences.
    sd_between, sd_within : float
        Expected standard deviations of the differences between and within participants.
    rng : numpy.random.Generator
        Source of the simulated studies.
    n_cycles : int, default 1
        Cycles a participant; with 1, both SDs together are the SD of the differences.
    assurance : float, default 0.8
        Probability wanted that the half-width turns out at most `precision`, for each limit.
    confidence : float, default 0.95
        Of the interval.
    n_studies : int, default 4000
        Simulated studies.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or more than 1000 participants would be needed.

    Notes
    -----
    The interval is that of `limits_of_agreement`; half its width is half the distance between its
    ends, though it reaches further away from the bias than towards it. Planning for the expected
    half-width would leave about half of the studies with a wider one [1]_. With one cycle a
    participant the half-width is a known multiple of the SD, and the share reached is that of a
    chi-squared distribution, against which this is tested.

    References
    ----------
    .. [1] Kupper & Hafner (1989). Am Stat 43, 101-105. For limits of agreement Jan & Shieh (2018).
       Comput Biol Med 100, 247-252 (from memory).
    """
    require_positive(precision, "precision")
    confidence = fraction(confidence, "confidence")
    pool = StudyPool(LimitsDesign(sd_between, sd_within, n_cycles), rng, n_studies)

    def reached(n: int) -> float:
        found = pool.limits(n, confidence)
        widths = (found.upper_high - found.upper_low, found.lower_high - found.lower_low)
        return float(np.mean([width <= 2 * precision for width in widths]))

    return _sized(
        f"a {100 * confidence:g} % interval of a limit of agreement of at most ± ",
        precision, reached, fraction(assurance, "assurance"), pool,
    )  # fmt: skip


def participants_for_limits_within(
    margin: float,
    *,
    sd_between: float,
    rng: np.random.Generator,
    sd_within: float = 0.0,
    n_cycles: int = 1,
    bias: float = 0.0,
    power: float = 0.8,
    confidence: float = 0.95,
    n_studies: int = STUDIES,
) -> SampleSize:
    """Find the participants that can show the limits of agreement to lie inside a margin.

    Parameters
    ----------
    margin : float
        Largest acceptable difference in either direction.
    sd_between, sd_within, rng, n_cycles, confidence, n_studies
        As `participants_for_limits`.
    bias : float, default 0
        Expected bias.
    power : float, default 0.8
        Probability wanted of the verdict "inside".

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, the expected limits are not inside the margin, or more than
        1000 participants would be needed.

    Notes
    -----
    Every simulated study is judged as `judge_limits` judges the real one.
    """
    require_positive(margin, "margin")
    confidence = fraction(confidence, "confidence")
    design = LimitsDesign(sd_between, sd_within, n_cycles, bias)
    low, high = design.limits
    if not (-margin < low and high < margin):
        raise ValueError(
            f"the expected limits {low:.4g} to {high:.4g} are not within ±{margin:g}: no number of "
            "participants shows that they are."
        )
    pool = StudyPool(design, rng, n_studies)

    def reached(n: int) -> float:
        found = pool.limits(n, confidence)
        return float(np.mean(inside_margin(found.lower_low, found.upper_high, margin)))

    return _sized(
        f"limits of agreement shown, with their {100 * confidence:g} % intervals, to lie inside ±",
        margin, reached, fraction(power, "power"), pool,
    )  # fmt: skip


def cycles_for_sd(precision: float, *, confidence: float = 0.95) -> SampleSize:
    """Find the cycles from which one participant's SD is known to a wanted share of itself.

    Parameters
    ----------
    precision : float
        Half the width of the interval wanted, as a share of the SD (0.2 is ± 20 %).
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Chi-squared interval of an SD on n - 1 degrees of freedom; for curves, whose points vary partly
    on their own, it is on the safe side, and for serially correlated cycles too small.
    """
    require_positive(precision, "precision")
    fraction(confidence, "confidence")

    def width(n: int) -> float:
        low, high = (chi_square((1 + s * confidence) / 2, n - 1) for s in (1, -1))
        return float(np.sqrt((n - 1) / high) - np.sqrt((n - 1) / low)) / 2

    n = smallest(lambda k: width(k) <= precision, 3, 100_000, "cycles")
    return SampleSize(
        aim="a participant's per-cycle SD known, as a share of itself, to ± ",
        target=precision,
        n=n,
        unit_counted="cycles",
        wanted=precision,
        reached=width(n),
        standard_error=float("nan"),
        assumptions=(
            "Cycles are normal and independent; more are needed where neighbours are alike.",
        ),
    )


def cycles_for_mean(precision: float, *, sd: float, confidence: float = 0.95) -> SampleSize:
    """Find the cycles from which one participant's mean is known to a wanted precision.

    Parameters
    ----------
    precision : float
        Half the width of the interval wanted, in the unit of the cycles' values.
    sd : float
        SD over the participant's cycles that is expected.
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Smallest n with t s / √n at most the precision, t of n - 1 degrees of freedom; for serially
    correlated cycles too small.
    """
    require_positive(precision, "precision")
    require_positive(sd, "sd")
    fraction(confidence, "confidence")

    def half(n: int) -> float:
        return float(scipy.special.stdtrit(n - 1, (1 + confidence) / 2)) * sd / float(np.sqrt(n))

    n = smallest(lambda k: half(k) <= precision, 2, 100_000, "cycles")
    return SampleSize(
        aim=f"a participant's mean known, at an SD of {sd:g}, to ± ",
        target=precision,
        n=n,
        unit_counted="cycles",
        wanted=precision,
        reached=half(n),
        standard_error=float("nan"),
        assumptions=(
            "Cycles are normal and independent; more are needed where neighbours are alike.",
        ),
    )


def smallest(enough: Callable[[int], bool], start: int, most: int, counted: str) -> int:
    """Return the smallest number from `start` on that is enough, taking more to be better.

    Parameters
    ----------
    enough : callable
        Whether a number is.
    start, most : int
        Smallest and largest number to try.
    counted : str
        What is counted, for the message.

    Returns
    -------
    int

    Raises
    ------
    ValueError
        If `most` is not enough.
    """
    high = start
    while not enough(high):
        if high == most:
            raise ValueError(f"more than {most} {counted} would be needed; ask for less.")
        high = min(2 * high, most)
    low = max(high // 2, start - 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _sized(
    aim: str, target: float, reached: Callable[[int], float], wanted: float, pool: StudyPool
) -> SampleSize:
    """Return the smallest number of participants whose simulated studies reach an aim."""
    n = smallest(lambda k: reached(k) >= wanted, FEWEST_PARTICIPANTS, MOST_PARTICIPANTS,
                 "participants")  # fmt: skip
    share = reached(n)
    few = (
        (f"{n} is the least for which the limits have intervals at all.",)
        if n == FEWEST_PARTICIPANTS
        else ()
    )
    return SampleSize(
        aim=aim,
        target=target,
        n=n,
        unit_counted="participants",
        wanted=wanted,
        reached=share,
        standard_error=float(np.sqrt(share * (1 - share) / pool.n_studies)),
        assumptions=(pool.design.in_words, *few),
    )
