"""Whether the disagreement is within a margin that was set beforehand: one verdict, one rule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._from_frame import difference_and_participant
from twinangle.agreement._input import Floats, require_number
from twinangle.agreement._limit_intervals import FEWEST_PARTICIPANTS
from twinangle.agreement._result import Interval, Result, counted, quantity
from twinangle.agreement.limits import limits_of_agreement
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.checks import require_positive
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

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
    """Whether the limits of agreement lie within a margin, by their intervals as they are shown."""

    margin: Annotated[float, data("the largest acceptable difference, in either direction")]
    verdict: Annotated[
        Verdict,
        number(
            "inside: both limits and their intervals lie within the margin; outside: a "
            "limit and its whole interval lie beyond it; undecided: neither, or there is no "
            "interval"
        ),
    ]
    reason: Annotated[str, number("the verdict's reason, in words")]
    inside_from: Annotated[
        float,
        data(
            "the smallest margin for which the verdict is 'inside'; NaN where there is no interval"
        ),
    ]
    lower_ci: Annotated[Interval, data("interval of the lower limit of agreement")]
    upper_ci: Annotated[Interval, data("interval of the upper limit of agreement")]
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("differences")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the verdict rests on, and what it holds")]

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


def equivalence_test(
    difference: ArrayLike,
    margin: float,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
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
    data : DataFrame, optional
        A table; `difference` is then the name of a column, or a pair of names, test and
        reference, and `participant` a name too.

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
    difference, participant = difference_and_participant(data, difference, participant, None, None)
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
    .. [3] Lu et al. (2016). Int J Biostat 12(2) (this use of it from memory).
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
        return "undecided", (
            f"for the limits of {people} have no interval (at least {FEWEST_PARTICIPANTS} are "
            "needed)"
        )
    shown = f"{100 * limits.confidence:g} % intervals"
    if inside_margin(lower_low, upper_high, margin):
        return "inside", f"both limits of agreement and their {shown} lie within it"
    if outside_margin(lower_high, upper_low, margin):
        return "outside", f"a limit of agreement lies beyond it with its whole interval ({shown})"
    return "undecided", f"for at least one limit's interval reaches across it ({shown})"


def _margin(margin: float) -> float:
    """Refuse a margin that is not above 0."""
    require_number(margin, "margin", "the largest acceptable difference")
    require_positive(margin, "margin")
    return float(margin)
