"""What limits of agreement take for granted, looked at: trend, spread, shape, serial order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
import scipy
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_pair, fraction
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, interval, quantity
from twinangle.agreement._shape import (
    compared_values,
    normality_p,
    serial_correlation,
    shape_notes,
)
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class DifferenceChecks(Result):
    """How far differences are from what limits of agreement take for granted."""

    trend: Annotated[
        float,
        number(
            "slope over participants of the difference on the size of the measurement (mean "
            "of both instruments); NaN where sizes are equal or too few"
        ),
    ]
    trend_ci: Interval
    spread_trend: Annotated[
        float,
        number(
            "slope over participants of the SD of the difference on the size of the "
            "measurement; NaN where sizes are equal or too few"
        ),
    ]
    spread_trend_ci: Interval
    skewness: Annotated[
        float,
        number("skewness of the participants' mean differences; NaN below 4 participants"),
    ]
    excess_kurtosis: Annotated[
        float,
        number("excess kurtosis of the participants' mean differences; NaN below 4 participants"),
    ]
    normality_p: Annotated[
        float,
        number(
            "Shapiro and Wilk's p, of the means by their own errors; shown, not a gate; NaN "
            "below 5 participants"
        ),
    ]
    serial_correlation: Annotated[
        float,
        number(
            "lag-1 autocorrelation of a participant's differences in the order given, mean "
            "over those with at least 5; NaN without any"
        ),
    ]
    suggestion: Annotated[str, number("which form the checks point to, and why")]
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("pairs")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the checks rest on")]

    def summary(self, unit: str = "") -> str:
        """Return what the checks showed, rounded; slopes have no unit."""
        return (
            f"Difference on size: slope {quantity(self.trend, '')} "
            f"({interval(self.trend_ci, '', self.confidence)}); its standard deviation on size: "
            f"{quantity(self.spread_trend, '')} "
            f"({interval(self.spread_trend_ci, '', self.confidence)}); skewness "
            f"{quantity(self.skewness, '')}. {self.suggestion}"
        )


def check_differences(
    test: ArrayLike,
    reference: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
) -> DifferenceChecks:
    """Look at trend, spread, shape and serial order of the differences.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        Pairs, those of a participant in the order measured.
    participant : array_like, shape (n,), optional
        Whose pair each is; None: one a participant.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    DifferenceChecks
        Shown, not gated: nothing is chosen by a p value. The suggestion goes by intervals that
        leave out 0, and by a shape further from normal than chance makes 95 of 100 samples.

    Raises
    ------
    ValueError
        If there are fewer than 2 participants, a value is missing or infinite, or the lengths
        differ.

    Notes
    -----
    Slopes are least-squares lines over participants' means; the standard deviation is each
    participant's own with several pairs, and √(π/2) times the absolute residual with one.

    References
    ----------
    .. [1] Bland & Altman (1999). Stat Methods Med Res 8, 135-160, sections 2 and 3.
    """
    test, reference, participant = columns(
        data, test=test, reference=reference, participant=participant
    )
    test, reference = finite_pair(test, reference, ndim=1, min_rows=2, participant=participant)
    confidence = fraction(confidence, "confidence")
    parts = variance_components(test - reference, participant)
    if parts.k < 2:
        raise ValueError("checks over participants need at least 2 of them, got 1.")
    size = np.bincount(parts.codes, (test + reference) / 2) / parts.counts
    trend, trend_ci = _slope(size, parts.means, confidence)
    spread, spread_ci = _slope(*_spreads(size, parts), confidence)
    varied = parts.k >= 4 and np.ptp(parts.means) > 0
    skewness = float(scipy.stats.skew(parts.means, bias=False)) if varied else float("nan")
    return DifferenceChecks(
        trend=trend,
        trend_ci=trend_ci,
        spread_trend=spread,
        spread_trend_ci=spread_ci,
        skewness=skewness,
        excess_kurtosis=float(scipy.stats.kurtosis(parts.means, bias=False))
        if varied
        else float("nan"),
        normality_p=normality_p(compared_values(test - reference, parts)),
        serial_correlation=serial_correlation(test - reference, parts),
        suggestion=_suggestion(
            trend_ci, spread_ci, shape_notes(test - reference, parts, confidence)
        ),
        n_participants=parts.k,
        n_observations=test.size,
        confidence=confidence,
        assumptions=(
            "Few participants hide trends: an interval that holds 0 is no proof of none.",
            (
                "A slope of the difference on the mean of both can also come from instruments that "
                "differ in their own spread."
            ),
        ),
    )


def _slope(x: Floats, y: Floats, confidence: float) -> tuple[float, Interval]:
    """Return the slope of a line with its interval; NaN where there is none."""
    if x.size < 3 or np.ptp(x) == 0:
        return float("nan"), NO_INTERVAL
    line = scipy.stats.linregress(x, y)
    half = two_sided_student(confidence, x.size - 2) * float(line.stderr)
    slope = float(line.slope)
    return slope, (slope - half, slope + half)


def _spreads(size: Floats, parts: Components) -> tuple[Floats, Floats]:
    """Return sizes and standard deviations of the differences."""
    repeated = parts.counts > 1
    if repeated.any():
        return size[repeated], np.sqrt(parts.variances[repeated])
    level = np.zeros_like(size)
    if np.ptp(size) > 0:
        line = scipy.stats.linregress(size, parts.means)
        level = line.intercept + line.slope * size
    return size, np.abs(parts.means - level) * np.sqrt(np.pi / 2)


def _suggestion(trend: Interval, spread: Interval, shape: tuple[str, ...]) -> str:
    """Return which form the checks point to."""
    follows = [
        what
        for what, (low, high) in (("bias", trend), ("spread", spread))
        if low > 0 or high < 0  # never with NaN
    ]
    if follows:
        return (
            f"The {' and the '.join(follows)} follow{'s' if len(follows) == 1 else ''} the size: "
            "consider limits by regression, or of the ratio."
        )
    if shape:
        return shape[0]
    return "Nothing speaks against limits at a constant distance from the bias."
