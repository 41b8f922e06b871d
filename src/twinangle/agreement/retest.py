"""Standard error of measurement and minimal detectable change of one instrument used again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._input import fraction
from twinangle.agreement._people import mean_and_interval
from twinangle.agreement._quantiles import chi_square, half_width
from twinangle.agreement._result import Interval, Result, interval, quantity
from twinangle.agreement._two_way import mean_squares, scores_of
from twinangle.declare import data as in_data
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class MeasurementError(Result):
    """Standard error of measurement and minimal detectable change."""

    sem: Annotated[
        float,
        in_data(
            "standard error of measurement, √(error mean square): random error, a constant "
            "shift between columns left out"
        ),
    ]
    sem_ci: Interval
    sem_agreement: Annotated[
        float,
        in_data(
            "standard error of measurement with the shift, √(column variance + error mean square)"
        ),
    ]
    sem_agreement_ci: Interval
    mdc: Annotated[
        float,
        in_data("minimal detectable change, z √2 sem: the change that exceeds measurement error"),
    ]
    mdc_ci: Interval
    mdc_agreement: Annotated[
        float, in_data("minimal detectable change with the shift, z √2 sem_agreement")
    ]
    mdc_agreement_ci: Interval
    shift: Annotated[
        float,
        in_data("shift from the first column to the last, mean over participants of their own"),
    ]
    shift_ci: Interval
    n_participants: Annotated[int, number("rows of the scores: participants")]
    n_measurements: Annotated[int, number("columns of the scores: measurements of each")]
    confidence: Annotated[float, number("confidence of the intervals and of the detectable change")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Standard error of measurement {quantity(self.sem, unit)} "
            f"({interval(self.sem_ci, unit, self.confidence)}), minimal detectable change "
            f"{quantity(self.mdc, unit)} ({interval(self.mdc_ci, unit, self.confidence)}), shift "
            f"from the first to the last {quantity(self.shift, unit)} "
            f"({interval(self.shift_ci, unit, self.confidence)})."
        )


def measurement_error(
    scores: ArrayLike | Sequence[str],
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
) -> MeasurementError:
    """Estimate the standard error of measurement and the minimal detectable change.

    Parameters
    ----------
    scores : array_like of float, shape (n_participants, k)
        One row a participant; columns are one instrument's measurements (test and retest). With two
        instruments as columns both numbers are their differences' standard deviation, divided by
        √2 or times z: use `limits_of_agreement` there.
    confidence : float, default 0.95
        Of the intervals, and of the change being real.
    data : DataFrame, optional
        A table with one row a participant; `scores` are then the names of its columns.

    Returns
    -------
    MeasurementError

    Raises
    ------
    ValueError
        If there are fewer than 2 rows or columns, or a value is missing or infinite.

    Notes
    -----
    SEM = √MS_error of the two-way table E, MDC = z √2 SEM [1]_; the error mean square has
    (n - 1)(k - 1) degrees of freedom. With the shift of the columns C counted as error it is
    √(E + (C - E)/n), the difference not below 0; C/n + (1 - 1/n) E is the mean square within
    participants, so that this is also the SD of a participant's values about their mean. Its
    interval is by the modified large sample method [2]_ for a sum of mean squares c_i M_i on f_i
    degrees of freedom: Σ c_i M_i - √Σ (c_i M_i (1 - f_i/χ²(f_i; upper)))², and upwards
    + √Σ (c_i M_i (f_i/χ²(f_i; lower) - 1))². Two columns tell next to nothing of how far columns
    shift: its upper end is then far up, as it has to be. How far they did shift in these people is
    d̄ ± t(n - 1) s/√n of each participant's own difference d, last column less first (Student's
    paired t [3]_; none of two participants): it is of these two sessions, not of sessions to come.

    References
    ----------
    .. [1] Weir (2005). J Strength Cond Res 19, 231-240.
    .. [2] Graybill & Wang (1980). J Am Stat Assoc 75, 869-873.
    .. [3] Student (1908). Biometrika 6, 1-25.
    """
    scores = scores_of(scores, data)
    confidence = fraction(confidence, "confidence")
    n, k = scores.shape
    _, columns, error, _ = mean_squares(scores)
    df, sem = (n - 1) * (k - 1), float(np.sqrt(error))
    low = sem * float(np.sqrt(df / chi_square((1 + confidence) / 2, df)))
    high = sem * float(np.sqrt(df / chi_square((1 - confidence) / 2, df)))
    change = float(np.sqrt(2)) * half_width(confidence)
    whole = float(np.sqrt(max(columns - error, 0.0) / n + error))
    parts = ((columns / n, k - 1), (error * (1 - 1 / n), df))
    least, most = _sum_interval(parts, (1 + confidence) / 2)
    shift, shift_ci = mean_and_interval(scores[:, -1] - scores[:, 0], confidence)
    return MeasurementError(
        sem=sem,
        sem_ci=(low, high),
        sem_agreement=whole,
        sem_agreement_ci=(least, most),
        mdc=change * sem,
        mdc_ci=(change * low, change * high),
        mdc_agreement=change * whole,
        mdc_agreement_ci=(change * least, change * most),
        shift=shift,
        shift_ci=shift_ci,
        n_participants=n,
        n_measurements=k,
        confidence=confidence,
        assumptions=(
            "Nobody's true value changed between the columns except by a shift common to all.",
            "Errors are independent and normal with one spread.",
        ),
    )


def _sum_interval(parts: Iterable[tuple[float, int]], level: float) -> Interval:
    """Return the interval of the root of a sum of mean squares, each with degrees of freedom."""
    total = down = up = 0.0
    for square, df in parts:
        total += square
        down += (square * (1 - df / chi_square(level, df))) ** 2
        up += (square * (df / chi_square(1 - level, df) - 1)) ** 2
    low = max(total - float(np.sqrt(down)), 0.0)
    return float(np.sqrt(low)), float(np.sqrt(total + np.sqrt(up)))
