"""Whether the disagreement is within a margin that was set beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._participants import limits_over_participants
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, interval, p_words, quantity
from twinangle.agreement.limits import FEWEST_PARTICIPANTS, limits_of_agreement

_BEFOREHAND = "The margin was set before the data were seen, on clinical grounds."


@dataclass(frozen=True, slots=True, eq=False)
class Equivalence(Result):
    """Whether bias and limits of agreement lie within a margin.

    Attributes
    ----------
    margin : float
        The largest acceptable difference, in either direction.
    bias : float
        Mean of the participants' mean differences.
    bias_ci : tuple of float
        Interval at 2 confidence - 1 (90 % for 95 %), which lies within the margin exactly when
        both one-sided tests reject.
    p_lower, p_upper, p_value : float
        Of the bias being at or below -margin, at or above margin, and the larger of both.
    bias_equivalent : bool
        Whether p_value is below 1 - confidence.
    lower, upper : float
        Limits of agreement.
    outer_lower, outer_upper : float
        Outer bounds of their intervals at 2 confidence - 1; NaN where there is none.
    limits_equivalent : bool
        Whether both outer bounds lie within the margin.
    n_participants, n_observations : int
        Participants and differences.
    confidence : float
        Of the claims.
    assumptions : tuple of str
        What the claims rest on.
    """

    margin: float
    bias: float
    bias_ci: Interval
    p_lower: float
    p_upper: float
    p_value: float
    bias_equivalent: bool
    lower: float
    upper: float
    outer_lower: float
    outer_upper: float
    limits_equivalent: bool
    n_participants: int
    n_observations: int
    confidence: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        level = 2 * self.confidence - 1
        bias = "within" if self.bias_equivalent else "not shown to be within"
        limits = "within" if self.limits_equivalent else "not shown to be within"
        return (
            f"The bias {quantity(self.bias, unit)} ({interval(self.bias_ci, unit, level)}) is "
            f"{bias} the margin of {quantity(self.margin, unit)} (two one-sided tests, "
            f"{p_words(self.p_value)}); the limits of agreement {quantity(self.lower, unit)} to "
            f"{quantity(self.upper, unit)} are {limits} it, their intervals counted."
        )


def equivalence(
    difference: ArrayLike,
    margin: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
) -> Equivalence:
    """Test whether the bias, and the limits of agreement, lie within a margin.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    margin : float
        Largest acceptable difference in either direction, above 0.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant.
    confidence : float, default 0.95
        Of the claims, above 0.5; the two tests are each at 1 - confidence.

    Returns
    -------
    Equivalence

    Raises
    ------
    ValueError
        If the margin is not above 0, there are fewer than 2 participants, or as
        `limits_of_agreement`.

    Notes
    -----
    Two one-sided t tests on the participants' means, k - 1 degrees of freedom [1]_. For the
    limits, inclusion of the outer bounds of their intervals, which is the stricter claim: that
    single differences, not only their mean, are acceptable.

    References
    ----------
    .. [1] Schuirmann (1987). J Pharmacokinet Biopharm 15, 657-680.
    """
    margin, confidence = _margin(margin), fraction(confidence, "confidence")
    if confidence <= 0.5:
        raise ValueError(f"`confidence` must be above 0.5, got {confidence!r}.")
    values = finite_array(difference, "difference", ndim=1, min_rows=2)
    parts = _several(variance_components(values, participant))
    limits = limits_of_agreement(values, participant, confidence=2 * confidence - 1)
    error = float(np.sqrt(parts.spread_of_means / parts.k))
    low, high = (_one_sided(limits.bias, s * margin, error, s, parts.k - 1) for s in (-1, 1))
    outer = limits.lower_ci[0], limits.upper_ci[1]
    return Equivalence(
        margin=margin,
        bias=limits.bias,
        bias_ci=limits.bias_ci,
        p_lower=low,
        p_upper=high,
        p_value=max(low, high),
        bias_equivalent=max(low, high) < 1 - confidence,
        lower=limits.lower,
        upper=limits.upper,
        outer_lower=outer[0],
        outer_upper=outer[1],
        limits_equivalent=bool(outer[0] > -margin and outer[1] < margin),
        n_participants=parts.k,
        n_observations=values.size,
        confidence=confidence,
        assumptions=(_BEFOREHAND, *limits.assumptions),
    )


@dataclass(frozen=True, slots=True, eq=False)
class ShareWithin(Result):
    """How often the difference lies within a margin.

    Attributes
    ----------
    margin : float
        The margin.
    share : float
        Observed share of differences within it, every participant counting the same.
    share_ci : tuple of float
        Its interval.
    normal_share : float
        The share that a normal distribution with this bias and SD has within the margin.
    n_participants, n_observations, n_within : int
        Participants, differences, and those within the margin.
    n_effective : float
        Independent differences they are worth.
    confidence : float
        Of the interval.
    assumptions : tuple of str
        What the numbers rest on.
    """

    margin: float
    share: float
    share_ci: Interval
    normal_share: float
    n_participants: int
    n_observations: int
    n_within: int
    n_effective: float
    confidence: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"{100 * self.share:.0f} % of differences ({self.n_within} of {self.n_observations}) "
            f"lay within {quantity(self.margin, unit)} "
            f"({interval(self.share_ci, '', self.confidence)} as a share)."
        )


def share_within(
    difference: ArrayLike,
    margin: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
) -> ShareWithin:
    """Estimate the probability of agreement within a margin.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    margin : float
        Largest acceptable difference in either direction, above 0; a difference equal to it is
        within.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant.
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    ShareWithin

    Raises
    ------
    ValueError
        If the margin is not above 0, there are fewer than 2 participants, or as
        `limits_of_agreement`.

    Notes
    -----
    The share p is the mean of participants' shares; its interval is Clopper & Pearson's [1]_ on
    n_e differences, n with one a participant and otherwise p (1 - p)/V, V the variance of the
    participants' shares over k, between k and n [2]_, and reduced by the ratio of squared t
    quantiles at n - 1 and k - 1 degrees of freedom. n counts a participant's equal differences
    once here: copies bring nothing new, and rounded differences are trusted less, not more.

    References
    ----------
    .. [1] Clopper & Pearson (1934). Biometrika 26, 404-413.
    .. [2] Korn & Graubard (1998). Surv Methodol 24, 193-201.
    """
    margin, confidence = _margin(margin), fraction(confidence, "confidence")
    values = finite_array(difference, "difference", ndim=1, min_rows=2)
    parts = _several(variance_components(values, participant))
    inside = np.abs(values) <= margin
    shares = np.bincount(parts.codes, inside) / parts.counts
    share, counted = float(shares.mean()), _effective(values, shares, parts, confidence)
    estimate = parts.by_participant
    return ShareWithin(
        margin=margin,
        share=share,
        share_ci=clopper_pearson(share * counted, counted, confidence),
        normal_share=_normal_share(margin, estimate.bias, estimate.sd),
        n_participants=parts.k,
        n_observations=values.size,
        n_within=int(inside.sum()),
        n_effective=counted,
        confidence=confidence,
        assumptions=(_BEFOREHAND, "Participants are independent; each counts the same."),
    )


def clopper_pearson(hits: float, n: float, confidence: float) -> Interval:
    """Return the exact interval of a share of `hits` in `n` (which need not be whole).

    Parameters
    ----------
    hits, n : float
        Successes and trials.
    confidence : float
        Of the interval.

    Returns
    -------
    tuple of float

    References
    ----------
    .. [1] Clopper & Pearson (1934). Biometrika 26, 404-413.
    """
    alpha = (1 - confidence) / 2
    low = 0.0 if hits <= 0 else float(special.betaincinv(hits, n - hits + 1, alpha))
    high = 1.0 if hits >= n else float(special.betaincinv(hits + 1, n - hits, 1 - alpha))
    return low, high


@dataclass(frozen=True, slots=True, eq=False)
class CorrectedLimits(Result):
    """Limits of agreement with the reference's own known error taken out.

    Attributes
    ----------
    bias, sd, lower, upper : float
        Of test against the true value; sd and limits NaN when the reference's variance exceeds
        that of the differences.
    lower_ci, upper_ci : tuple of float
        Their intervals; NaN below 4 participants.
    sd_observed, reference_sd : float
        Standard deviation of the differences, and of the reference's own error.
    reference_share : float
        Share of the variance of the differences that is the reference's; above 1 when its stated
        error is larger than the differences allow.
    n_participants, n_observations : int
        Participants and differences.
    confidence : float
        Of the intervals.
    assumptions : tuple of str
        What the numbers rest on.
    """

    bias: float
    sd: float
    lower: float
    lower_ci: Interval
    upper: float
    upper_ci: Interval
    sd_observed: float
    reference_sd: float
    reference_share: float
    n_participants: int
    n_observations: int
    confidence: float
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"With the reference's own error of {quantity(self.reference_sd, unit)} (SD) taken "
            f"out, the limits are {quantity(self.lower, unit)} "
            f"({interval(self.lower_ci, unit, self.confidence)}) to {quantity(self.upper, unit)} "
            f"({interval(self.upper_ci, unit, self.confidence)})."
        )


def limits_without_reference_error(
    difference: ArrayLike,
    reference_sd: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
) -> CorrectedLimits:
    """Estimate the limits of agreement against the true value, the reference's error known.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    reference_sd : float
        Standard deviation of a single reference value about the truth, 0 or more.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.

    Returns
    -------
    CorrectedLimits

    Raises
    ------
    ValueError
        If `reference_sd` is negative, there are fewer than 2 participants, or as
        `limits_of_agreement`.

    Notes
    -----
    sd² = sd_observed² - reference_sd², and likewise for the bounds of its interval: errors of the
    two instruments are unrelated and the reference's is known without error. A bias of the
    reference cannot be taken out.
    """
    if not (np.isfinite(reference_sd) and reference_sd >= 0):
        raise ValueError(f"`reference_sd` must be 0 or more, got {reference_sd!r}.")
    fraction(confidence, "confidence"), fraction(coverage, "coverage")
    values = finite_array(difference, "difference", ndim=1, min_rows=2)
    parts = _several(variance_components(values, participant))
    estimate, z = parts.by_participant, half_width(coverage)
    square = estimate.sd**2 - reference_sd**2
    sd = float(np.sqrt(square)) if square >= 0 else float("nan")
    lower_ci, upper_ci = NO_INTERVAL, NO_INTERVAL
    if parts.k >= FEWEST_PARTICIPANTS and square >= 0:
        found = limits_over_participants(
            parts.means, parts.shrunk_variances, confidence, z, known=reference_sd**2
        )
        lower_ci = (float(found.lower_low), float(found.lower_high))
        upper_ci = (float(found.upper_low), float(found.upper_high))
    return CorrectedLimits(
        bias=estimate.bias,
        sd=sd,
        lower=estimate.bias - z * sd,
        lower_ci=lower_ci,
        upper=estimate.bias + z * sd,
        upper_ci=upper_ci,
        sd_observed=estimate.sd,
        reference_sd=float(reference_sd),
        reference_share=float(reference_sd**2 / estimate.sd**2)
        if estimate.sd > 0
        else float("nan"),
        n_participants=parts.k,
        n_observations=values.size,
        confidence=confidence,
        assumptions=(
            "The reference's error is known, unrelated to the test instrument's, and unbiased.",
            (
                "It is taken as the error of the quantity itself; that of a range, which is a "
                "difference of two readings, may be larger than that of a reading."
            ),
            (
                "A negative remainder says that the reference's stated error is larger than all "
                "differences allow."
            ),
        ),
    )


def _margin(margin: float) -> float:
    """Refuse a margin that is not above 0."""
    if not (np.isfinite(margin) and margin > 0):
        raise ValueError(f"`margin` must be above 0, got {margin!r}.")
    return float(margin)


def _several(parts: Components) -> Components:
    """Refuse a single participant."""
    if parts.k < 2:
        raise ValueError("at least 2 participants are needed, got 1.")
    return parts


def _one_sided(bias: float, bound: float, error: float, sign: int, df: int) -> float:
    """Return the p value of the bias lying at or beyond a bound on one side."""
    if error == 0:
        return 0.0 if sign * (bound - bias) > 0 else 1.0
    return float(special.stdtr(df, sign * (bias - bound) / error))


def _effective(values: Floats, shares: Floats, parts: Components, confidence: float) -> float:
    """Return the independent differences that clustered ones are worth for a share."""
    k, share = parts.k, float(shares.mean())
    if np.all(parts.counts == 1):
        return float(k)
    distinct = np.unique(np.column_stack([parts.codes, values]), axis=0)
    n = float(max(len(distinct), 2))
    variance = float(shares.var(ddof=1)) / k
    counted = share * (1 - share) / variance if variance > 0 else float(k)
    student = two_sided_student(confidence, n - 1) / two_sided_student(confidence, k - 1)
    return float(np.clip(counted * student**2, min(k, n), n))


def _normal_share(margin: float, bias: float, sd: float) -> float:
    """Return the share of a normal distribution within the margin."""
    if sd == 0:
        return float(abs(bias) <= margin)
    low, high = special.ndtr((-margin - bias) / sd), special.ndtr((margin - bias) / sd)
    return float(high - low)
