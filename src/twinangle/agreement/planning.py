"""How many participants and cycles a study needs, by formula and by simulation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._participants import SpreadParts, join_components, widened
from twinangle.agreement._quantiles import chi_square, half_width, two_sided_student
from twinangle.agreement._result import Result, spaced
from twinangle.agreement.limits import FEWEST_PARTICIPANTS

_MOST = 100_000
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(300)


@dataclass(frozen=True, slots=True, eq=False)
class SampleSize(Result):
    """Participants or cycles that reach an aim.

    Attributes
    ----------
    aim : str
        What they are to reach, in words.
    n : int
        The smallest number that does.
    unit_counted : str
        "participants" or "cycles".
    wanted, reached : float
        Precision or power wanted, and what `n` reaches.
    assumptions : tuple of str
        What the number rests on.
    """

    aim: str
    n: int
    unit_counted: str
    wanted: float
    reached: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper."""
        return (
            f"{self.n} {self.unit_counted} are needed for {self.aim} "
            f"({self.reached:.3g}{spaced(unit)}, wanted {self.wanted:.3g}{spaced(unit)})."
        )


def participants_for_limits(
    precision: float,
    *,
    sd_between: float,
    sd_within: float = 0.0,
    n_cycles: int = 1,
    confidence: float = 0.95,
    coverage: float = 0.95,
) -> SampleSize:
    """Find the participants whose interval of a limit of agreement is narrow enough.

    Parameters
    ----------
    precision : float
        Half the width of the interval of a limit that is wanted, in the unit of the differences.
    sd_between, sd_within : float
        Expected standard deviations of the differences between and within participants.
    n_cycles : int, default 1
        Cycles a participant; with 1, both SDs together are the SD of the differences.
    confidence, coverage : float, default 0.95
        Of the interval and of the limits.

    Returns
    -------
    SampleSize
        `reached` is the half-width at the expected SDs.

    Raises
    ------
    ValueError
        If a number is out of range, or more than 100 000 participants would be needed.

    Notes
    -----
    One cycle: half of (outer - inner) SD with the exact noncentral t factors. Several: the
    interval of `limits_of_agreement` (form "participant-means") at the expected variances.
    """
    _above_zero(precision, "precision")
    total = check_spread(sd_between, sd_within, n_cycles)
    fraction(confidence, "confidence"), fraction(coverage, "coverage")

    def width(k: int) -> float:
        if n_cycles == 1:
            inner, outer = exact_limit_factors(k, confidence=confidence, coverage=coverage)
            return (outer - inner) * total / 2
        return _expected_half_width(k, n_cycles, sd_between, sd_within, confidence, coverage)

    n = _smallest(lambda k: width(k) <= precision, FEWEST_PARTICIPANTS)
    return SampleSize(
        aim=f"limits of agreement with a {100 * confidence:g} % interval of ± the precision",
        n=n,
        unit_counted="participants",
        wanted=precision,
        reached=width(n),
        assumptions=(
            (
                f"SD between participants {sd_between:g}, within {sd_within:g}, {n_cycles} "
                "cycle(s) each; differences are normal."
            ),
            "In about half of such studies the interval turns out wider.",
        ),
    )


def equivalence_power(
    n: int, margin: float, *, bias: float, sd: float, confidence: float = 0.95
) -> float:
    """Return the power of two one-sided t tests of the bias.

    Parameters
    ----------
    n : int
        Participants, at least 2.
    margin : float
        Largest acceptable bias in either direction.
    bias, sd : float
        Expected bias, and SD of the participants' mean differences.
    confidence : float, default 0.95
        Of the claim (each test at 1 - confidence).

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    The probability that mean ± t s/√n lies within the margin, over the normal distribution of the
    mean and the chi distribution of s, by quadrature.

    References
    ----------
    .. [1] Phillips (1990). J Pharmacokinet Biopharm 18, 137-144.
    """
    _check_power(n, margin, sd, confidence)
    t = two_sided_student(2 * confidence - 1, n - 1)
    return _probability_inside(n, margin, bias, sd, t / np.sqrt(n))


def limits_power(
    n: int, margin: float, *, bias: float, sd: float, confidence: float = 0.95
) -> float:
    """Return the probability that the limits of agreement are shown to lie within a margin.

    Parameters
    ----------
    n : int
        Participants, one pair each, at least 2.
    margin : float
        Largest acceptable difference in either direction.
    bias, sd : float
        Expected bias and SD of the differences.
    confidence : float, default 0.95
        Of the two-sided interval of each limit, whose outer bounds must lie within the margin.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a number is out of range.

    References
    ----------
    .. [1] Lu et al. (2016). Int J Biostat 12(2), for the aim; exact intervals are used here.
    """
    _check_power(n, margin, sd, confidence)
    return _probability_inside(
        n, margin, bias, sd, exact_limit_factors(n, confidence=confidence)[1]
    )


def participants_for_equivalence(
    margin: float, *, bias: float, sd: float, power: float = 0.8, confidence: float = 0.95
) -> SampleSize:
    """Find the participants that can show the bias to lie within a margin.

    Parameters
    ----------
    margin, bias, sd, confidence
        As `equivalence_power`.
    power : float, default 0.8
        Probability of success wanted.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or the expected bias is not within the margin.
    """
    return _for_power(equivalence_power, "bias within", margin, bias, sd, power, confidence)


def participants_for_limits_within(
    margin: float, *, bias: float, sd: float, power: float = 0.8, confidence: float = 0.95
) -> SampleSize:
    """Find the participants that can show the limits of agreement to lie within a margin.

    Parameters
    ----------
    margin, bias, sd, confidence
        As `limits_power`.
    power : float, default 0.8
        Probability of success wanted.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range, or the expected limits are not within the margin.
    """
    if abs(bias) + half_width(0.95) * sd >= margin:
        raise ValueError(
            f"the expected limits {bias:g} ∓ 1.96 × {sd:g} are not within ±{margin:g}: no number "
            "of participants shows that they are."
        )
    return _for_power(limits_power, "limits within", margin, bias, sd, power, confidence)


def participants_for_sd_ratio(
    ratio: float, *, sd_log_ratio: float, power: float = 0.8, confidence: float = 0.95
) -> SampleSize:
    """Find the participants that can show two per-cycle SDs to differ by a ratio.

    Parameters
    ----------
    ratio : float
        Ratio to be shown, above 0 and not 1.
    sd_log_ratio : float
        SD over participants of ln(SD under one condition / SD under the other).
    power, confidence : float
        Probability of success wanted, and of the two-sided paired t test of the logarithms.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a number is out of range.

    Notes
    -----
    Power from the noncentral t with n - 1 degrees of freedom about √n ln(ratio)/sd_log_ratio.
    """
    _above_zero(ratio, "ratio")
    _above_zero(sd_log_ratio, "sd_log_ratio")
    fraction(power, "power"), fraction(confidence, "confidence")
    if ratio == 1:
        raise ValueError("`ratio` is 1: there is no difference to be shown.")
    effect = abs(float(np.log(ratio))) / sd_log_ratio

    def reached(n: int) -> float:
        t, shift = two_sided_student(confidence, n - 1), effect * np.sqrt(n)
        return float(stats.nct.sf(t, n - 1, shift) + stats.nct.cdf(-t, n - 1, shift))

    n = _smallest(lambda k: reached(k) >= power, 2)
    return SampleSize(
        aim=f"power to show an SD ratio of {ratio:g}",
        n=n,
        unit_counted="participants",
        wanted=power,
        reached=reached(n),
        assumptions=(
            (
                f"Log ratios are normal over participants with SD {sd_log_ratio:g}, which includes "
                "the error of SDs from few cycles, about √(1/(n_cycles - 1))."
            ),
        ),
    )


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
    _above_zero(precision, "precision")
    fraction(confidence, "confidence")

    def width(n: int) -> float:
        low, high = (chi_square((1 + s * confidence) / 2, n - 1) for s in (1, -1))
        return float(np.sqrt((n - 1) / high) - np.sqrt((n - 1) / low)) / 2

    n = _smallest(lambda k: width(k) <= precision, 3)
    return SampleSize(
        aim="a per-cycle SD known to ± the precision, as a share",
        n=n,
        unit_counted="cycles",
        wanted=precision,
        reached=width(n),
        assumptions=("Cycles are independent and normal.",),
    )


def _expected_half_width(
    k: int, n: int, between: float, within: float, confidence: float, coverage: float
) -> float:
    """Return half the width of a limit's interval at the expected variances."""
    kept, rest = between**2 + within**2 / n, (1 - 1 / n) * within**2
    # every participant alike: a_i is chi-squared on n - 1 degrees of freedom
    sampled, logs = np.asarray(2 / (k * (n - 1))), np.asarray(special.polygamma(1, (n - 1) / 2))
    parts = SpreadParts(np.asarray(kept), np.asarray(rest), widened(sampled, logs, k), k)
    found = join_components(np.asarray(0.0), parts, confidence, half_width(coverage))
    return float(found.upper_high - found.upper_low) / 2


def _probability_inside(n: int, margin: float, bias: float, sd: float, factor: float) -> float:
    """Return the probability that mean ± factor s lies within ± margin."""
    spread: Floats = sd * np.sqrt(stats.chi2.ppf((_NODES + 1) / 2, n - 1) / (n - 1))
    error = sd / np.sqrt(n)
    above = special.ndtr((margin - factor * spread - bias) / error)
    below = special.ndtr((-margin + factor * spread - bias) / error)
    return float(_WEIGHTS @ np.maximum(above - below, 0)) / 2


def _for_power(
    power_of: Callable[..., float],
    aim: str,
    margin: float,
    bias: float,
    sd: float,
    power: float,
    confidence: float,
) -> SampleSize:
    """Return the smallest number of participants that reaches a power."""
    fraction(power, "power")
    _check_power(2, margin, sd, confidence)
    if abs(bias) >= margin:
        raise ValueError(f"the expected bias {bias:g} is not within the margin ±{margin:g}.")

    def reached(n: int) -> float:
        return power_of(n, margin, bias=bias, sd=sd, confidence=confidence)

    n = _smallest(lambda k: reached(k) >= power, 2)
    return SampleSize(
        aim=f"power to show the {aim} ±{margin:g}",
        n=n,
        unit_counted="participants",
        wanted=power,
        reached=reached(n),
        assumptions=(
            f"Expected bias {bias:g}, SD {sd:g}; differences are normal, one mean a participant.",
        ),
    )


def _smallest(enough: Callable[[int], bool], start: int) -> int:
    """Return the smallest number from `start` on that is enough, taking more to be better."""
    high = start
    while not enough(high):
        high *= 2
        if high > _MOST:
            raise ValueError(f"more than {_MOST} would be needed; ask for less.")
    low = max(high // 2, start - 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _above_zero(value: float, name: str) -> None:
    """Refuse a number that is not above 0."""
    if not (np.isfinite(value) and value > 0):
        raise ValueError(f"`{name}` must be above 0, got {value!r}.")


def check_spread(between: float, within: float, n_cycles: int) -> float:
    """Return the total SD, or refuse spreads and cycles out of range.

    Raises
    ------
    ValueError
        If a spread is negative, both are 0, or there is no cycle.
    """
    if between < 0 or within < 0 or not between + within > 0 or n_cycles < 1:
        raise ValueError(
            f"`sd_between` and `sd_within` must be 0 or more and not both 0, `n_cycles` at least "
            f"1; got {between!r}, {within!r}, {n_cycles!r}."
        )
    return float(np.hypot(between, within))


def _check_power(n: int, margin: float, sd: float, confidence: float) -> None:
    """Refuse numbers out of range."""
    _above_zero(margin, "margin")
    _above_zero(sd, "sd")
    if not 0.5 < confidence < 1:
        raise ValueError(f"`confidence` must lie between 0.5 and 1, got {confidence!r}.")
    if n < 2:
        raise ValueError(f"`n` must be at least 2, got {n!r}.")
