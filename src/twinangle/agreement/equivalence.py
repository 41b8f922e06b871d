"""Whether the disagreement is within a margin that was set beforehand: one verdict, one rule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._input import Floats, finite_array, fraction, require_number
from twinangle.agreement._participants import limits_over_participants
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity
from twinangle.agreement.limits import (
    FEWEST_PARTICIPANTS,
    LimitsOfAgreement,
    limits_of_agreement,
)
from twinangle.checks import require_not_negative, require_positive

Verdict = Literal["inside", "outside", "undecided"]
_BEFOREHAND = "The margin was set before the data were seen, on clinical grounds."
# figures: python benchmarks/margin_size.py --studies 4000
_HOLDS = (
    "“Inside” at 95 % is meant to be wrong in at most 2.5 % of studies whose limit lies at the "
    "margin. In simulated studies of 6 to 20 people with several cycles it was in 1 to 2 % where "
    "differences are normal, in up to 3 % where people differ in spread (SD of its logarithm 0.3) "
    "and 6 % at 0.6, in up to 6 % with heavy tails (t, 4 degrees of freedom) and 12 % with "
    "skewness 2; with one pair each in 2 to 3, 10 (heavy tails) and 19 % (skewness 2)."
)


@dataclass(frozen=True, slots=True, eq=False)
class Equivalence(Result):
    """Whether the limits of agreement lie within a margin, by their intervals as they are shown.

    Attributes
    ----------
    margin : float
        The largest acceptable difference, in either direction.
    verdict : {"inside", "outside", "undecided"}
        Inside: both limits and their intervals lie within the margin. Outside: a limit and its
        whole interval lie beyond it. Undecided: neither, or there is no interval.
    reason : str
        Why, in words.
    inside_from : float
        The smallest margin for which the verdict is "inside"; NaN where there is no interval.
    lower_ci, upper_ci : tuple of float
        The intervals of the two limits, as `limits_of_agreement` gives them.
    n_participants, n_observations : int
        Participants and differences.
    confidence : float
        Of the intervals.
    assumptions : tuple of str
        What the verdict rests on, and what it holds.
    """

    margin: float
    verdict: Verdict
    reason: str
    inside_from: float
    lower_ci: Interval
    upper_ci: Interval
    n_participants: int
    n_observations: int
    confidence: float
    assumptions: tuple[str, ...]

    @property
    def inside_from_shown(self) -> float:
        """`inside_from` rounded to two decimals, upwards, to where the verdict still holds."""
        return float(np.ceil(100 * self.inside_from - 1e-9) / 100)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """The assumptions that are the verdict's own, not those of the limits."""
        return _BEFOREHAND, _HOLDS

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        margin = quantity(self.margin, unit)
        needs = (
            f"; they lie inside a margin from ±{quantity(self.inside_from_shown, unit)} on"
            if np.isfinite(self.inside_from) and self.verdict != "inside"
            else ""
        )
        return f"Against the margin of ±{margin}: {self.verdict}, {self.reason}{needs}."


def equivalence(
    difference: ArrayLike,
    margin: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
) -> Equivalence:
    """Judge whether the limits of agreement lie within a margin.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    margin : float
        Largest acceptable difference in either direction, above 0.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant.
    confidence : float, default 0.95
        Of the intervals of the limits.

    Returns
    -------
    Equivalence

    Raises
    ------
    ValueError
        If the margin is not above 0, or as `limits_of_agreement`.

    See Also
    --------
    judge_limits : the same from limits that are there already, with the rule and its sources.
    """
    margin = _margin(margin)
    return judge_limits(limits_of_agreement(difference, participant, confidence=confidence), margin)


def judge_limits(limits: LimitsOfAgreement, margin: float) -> Equivalence:
    """Judge limits of agreement against a margin, by their own intervals.

    Parameters
    ----------
    limits : LimitsOfAgreement
        Limits with their intervals, from any form.
    margin : float
        Largest acceptable difference in either direction, above 0.

    Returns
    -------
    Equivalence

    Raises
    ------
    ValueError
        If the margin is not above 0.

    Notes
    -----
    With (l1, l2) and (u1, u2) the intervals of the lower and the upper limit at the confidence
    1 - α at which they are shown::

        inside     l1 ≥ -margin and u2 ≤ margin
        outside    l2 < -margin or  u1 > margin
        undecided  otherwise, and where there is no interval or one participant only

    The outer ends l1 and u2 are one-sided bounds at 1 - α/2. "Inside" rejects both "the lower
    limit is below -margin" and "the upper limit is above margin"; by the intersection-union
    principle [1]_ it errs no more often than one such bound, in α/2 of studies, with no
    correction for two. "Outside" is wrong when either of two bounds is, in at most α. So a
    verdict is wrong in at most α, and one-sided claims stand at half the two-sided level, as is
    advised for trials [2]_. Limits with their two-sided intervals within a predefined margin are
    also how a published sample size for such studies sees it [3]_. Bounds at 1 - α (intervals at
    1 - 2α) would need about a fifth fewer people, but contradict the intervals that are shown in
    up to 23 % of simulated studies, and cover less where people differ in spread.

    References
    ----------
    .. [1] Berger (1982). Technometrics 24, 295-300 (from memory). Berger & Hsu (1996). Stat Sci
       11, 283-319 (abstract looked up).
    .. [2] ICH E9 (1999). Stat Med 18, 1905-1942 (the sentence looked up as quoted elsewhere).
    .. [3] Lu et al. (2016). Int J Biostat 12(2).
    """
    margin = _margin(margin)
    verdict, reason = _verdict(limits, margin)
    nothing = limits.n_participants == 1
    bounds = max(-limits.lower_ci[0], limits.upper_ci[1])
    return Equivalence(
        margin=margin,
        verdict=verdict,
        reason=reason,
        inside_from=float("nan") if nothing else max(bounds, 0.0),
        lower_ci=limits.lower_ci,
        upper_ci=limits.upper_ci,
        n_participants=limits.n_participants,
        n_observations=limits.n_observations,
        confidence=limits.confidence,
        assumptions=(_BEFOREHAND, _HOLDS, *limits.assumptions),
    )


def inside_margin(
    lower_low: Floats | float, upper_high: Floats | float, margin: float
) -> NDArray[np.bool_]:
    """Return whether the outer ends of both limits' intervals lie within a margin; NaN does not.

    Parameters
    ----------
    lower_low, upper_high : ndarray or float
        Lower end of the lower limit's interval, upper end of the upper limit's.
    margin : float
        The margin.

    Returns
    -------
    ndarray of bool
    """
    return np.asarray((lower_low >= np.float64(-margin)) & (upper_high <= np.float64(margin)))


def outside_margin(
    lower_high: Floats | float, upper_low: Floats | float, margin: float
) -> NDArray[np.bool_]:
    """Return whether the whole interval of a limit lies beyond a margin; NaN does not.

    Parameters
    ----------
    lower_high, upper_low : ndarray or float
        Upper end of the lower limit's interval, lower end of the upper limit's.
    margin : float
        The margin.

    Returns
    -------
    ndarray of bool
    """
    return np.asarray((lower_high < np.float64(-margin)) | (upper_low > np.float64(margin)))


def _verdict(limits: LimitsOfAgreement, margin: float) -> tuple[Verdict, str]:
    """Return the verdict on limits of agreement, and why."""
    if limits.n_participants == 1:
        return "undecided", "for the limits of one participant say nothing of other people"
    (lower_low, lower_high), (upper_low, upper_high) = limits.lower_ci, limits.upper_ci
    if not np.all(np.isfinite([lower_low, upper_high])):
        people = counted(limits.n_participants, "participant")
        return "undecided", f"for the limits of {people} have no interval"
    shown = f"{100 * limits.confidence:g} % intervals"
    if inside_margin(lower_low, upper_high, margin):
        return "inside", f"both limits of agreement and their {shown} lie within it"
    if outside_margin(lower_high, upper_low, margin):
        return "outside", f"a limit of agreement lies beyond it with its whole interval ({shown})"
    return "undecided", f"for the {shown} of the limits of agreement reach over it"


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
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
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
    require_number(reference_sd, "reference_sd", "the SD of the reference's own error")
    require_not_negative(reference_sd, "reference_sd")
    fraction(confidence, "confidence"), fraction(coverage, "coverage")
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
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
    require_number(margin, "margin", "the largest acceptable difference")
    require_positive(margin, "margin")
    return float(margin)


def _several(parts: Components) -> Components:
    """Refuse a single participant."""
    if parts.k < 2:
        raise ValueError("at least 2 participants are needed, got 1.")
    return parts


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
