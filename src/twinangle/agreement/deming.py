"""Straight line between two instruments that both err."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_pair, fraction
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import Interval, Result, interval, quantity
from twinangle.checks import require_positive
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

DEMING = "Deming's line"  # as what is not given is named


@dataclass(frozen=True, slots=True, eq=False)
class DemingLine(Result):
    """Line test = intercept + slope reference, with error in both."""

    slope: Annotated[float, number("slope of Deming's line")]
    slope_ci: Interval
    intercept: Annotated[float, data("intercept of Deming's line")]
    intercept_ci: Interval
    error_ratio: Annotated[
        float,
        number(
            "variance of the test instrument's error over the reference's, as stated by the user"
        ),
    ]
    n_participants: Annotated[int, number("pairs, one a participant")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Deming regression (error variance ratio {self.error_ratio:g}): slope "
            f"{self.slope:.3f} ({interval(self.slope_ci, '', self.confidence)}), intercept "
            f"{quantity(self.intercept, unit)} "
            f"({interval(self.intercept_ci, unit, self.confidence)}); {self.n_participants} pairs."
        )


def deming_regression(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    error_ratio: float,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
) -> DemingLine:
    """Fit a straight line where the reference errs as well.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        One pair a participant.
    error_ratio : float
        Variance of the test instrument's error over that of the reference's, above 0. There is
        no default: it has to be known.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    DemingLine

    Raises
    ------
    ValueError
        If there are fewer than 4 pairs, the ratio is not above 0, the instruments are not
        correlated, or a value is missing or infinite.

    Notes
    -----
    With u = s_yy - ratio s_xx (y test, x reference), slope = (u + √(u² + 4 ratio s_xy²))/(2 s_xy)
    [1]_. Intervals by delete-one jackknife, Student's t on n - 2 degrees of freedom [2]_.

    References
    ----------
    .. [1] Deming (1943). Statistical Adjustment of Data. Wiley.
    .. [2] Linnet (1993). Clin Chem 39, 424-432.
    """
    test, reference = columns(data, test=test, reference=reference)
    y, x = finite_pair(test, reference, ndim=1, min_rows=4)
    confidence = fraction(confidence, "confidence")
    require_positive(error_ratio, "error_ratio")
    slope, intercept = _line(x, y, error_ratio)
    keep = ~np.eye(x.size, dtype=bool)
    left_out = np.array([_line(x[row], y[row], error_ratio) for row in keep])
    error = (x.size - 1) * left_out.std(axis=0, ddof=1) / np.sqrt(x.size)
    half = two_sided_student(confidence, x.size - 2) * error
    return DemingLine(
        slope=slope,
        slope_ci=(float(slope - half[0]), float(slope + half[0])),
        intercept=intercept,
        intercept_ci=(float(intercept - half[1]), float(intercept + half[1])),
        error_ratio=float(error_ratio),
        n_participants=x.size,
        confidence=confidence,
        assumptions=(
            "The ratio of the error variances is known, and the same at every size.",
            "Pairs are of different participants; errors are unrelated; the line is straight.",
        ),
    )


def _line(x: Floats, y: Floats, ratio: float) -> tuple[float, float]:
    """Return slope and intercept."""
    dx, dy = x - x.mean(), y - y.mean()
    sxx, syy, sxy = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    if sxy == 0:
        raise ValueError("`test` and `reference` are not correlated: there is no line to fit.")
    apart = syy - ratio * sxx
    slope = (apart + float(np.sqrt(apart**2 + 4 * ratio * sxy**2))) / (2 * sxy)
    return slope, float(y.mean() - slope * x.mean())
