"""Reliability: intraclass correlation, measurement error, concordance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, cast

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._quantiles import chi_square, half_width
from twinangle.agreement._result import Interval, Result, interval, quantity
from twinangle.declare import data, number

FULL_NAMES = {
    "ICC(1,1)": "one-way random effects, absolute agreement, single measurement",
    "ICC(2,1)": "two-way random effects, absolute agreement, single measurement",
    "ICC(3,1)": "two-way mixed effects, consistency, single measurement",
    "ICC(1,k)": "one-way random effects, absolute agreement, mean of k measurements",
    "ICC(2,k)": "two-way random effects, absolute agreement, mean of k measurements",
    "ICC(3,k)": "two-way mixed effects, consistency, mean of k measurements",
}
_NOT_AGREEMENT = (
    "An intraclass correlation depends on how much participants differ; it is not agreement."
)


@dataclass(frozen=True, slots=True, eq=False)
class IntraclassCorrelation(Result):
    """An intraclass correlation with its form."""

    form: Annotated[str, number("short name of the form, such as ICC(2,1)")]
    full_name: Annotated[str, number("the form in words: model, definition, type")]
    value: Annotated[float, number("the correlation; may be negative, NaN when nothing varies")]
    value_ci: Interval
    n_participants: Annotated[int, number("rows of the scores: participants")]
    n_measurements: Annotated[int, number("columns of the scores: measurements of each")]
    confidence: Annotated[float, number("confidence of the interval")]
    assumptions: Annotated[tuple[str, ...], number("what the number rests on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; it has no unit."""
        return (
            f"{self.form} ({self.full_name}) {quantity(self.value, '')} "
            f"({interval(self.value_ci, '', self.confidence)}; {self.n_participants} participants, "
            f"k = {self.n_measurements})."
        )


def intraclass_correlations(
    scores: ArrayLike | Sequence[str],
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
) -> tuple[IntraclassCorrelation, ...]:
    """Estimate the six intraclass correlations.

    Parameters
    ----------
    scores : array_like of float, shape (n_participants, k)
        One row a participant, one column an instrument, rater, session or day.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a participant; `scores` are then the names of its columns.

    Returns
    -------
    tuple of IntraclassCorrelation
        ICC(1,1), ICC(2,1), ICC(3,1), ICC(1,k), ICC(2,k), ICC(3,k).

    Raises
    ------
    ValueError
        If there are fewer than 2 rows or columns, or a value is missing or infinite.

    Notes
    -----
    From the mean squares of rows R, columns C, error E and within rows W of the two-way table::

        ICC(1,1) = (R - W)/(R + (k - 1) W)                  ICC(1,k) = (R - W)/R
        ICC(2,1) = (R - E)/(R + (k - 1) E + k (C - E)/n)    ICC(2,k) = (R - E)/(R + (C - E)/n)
        ICC(3,1) = (R - E)/(R + (k - 1) E)                  ICC(3,k) = (R - E)/R

    with the F intervals of McGraw & Wong [2]_. Those of ICC(2,k) follow from ICC(2,1); the lower
    end is open (minus infinity) where that of ICC(2,1) is at or below -1/(k - 1).

    References
    ----------
    .. [1] Shrout & Fleiss (1979). Psychol Bull 86, 420-428.
    .. [2] McGraw & Wong (1996). Psychol Methods 1, 30-46. Koo & Li (2016). J Chiropr Med 15, 155.
    """
    scores = _scores(scores, data)
    fraction(confidence, "confidence")
    n, k = scores.shape
    values, bounds = _single_forms(_mean_squares(scores), n, k, (1 + confidence) / 2)
    singles = dict(zip(("1", "2", "3"), zip(values, bounds, strict=True), strict=True))
    found = []
    for kind, average in [(m, a) for a in (False, True) for m in singles]:
        value, ci = singles[kind]
        form = f"ICC({kind},{'k' if average else '1'})"
        found.append(
            IntraclassCorrelation(
                form=form,
                full_name=FULL_NAMES[form],
                value=_averaged(value, k) if average else value,
                value_ci=(_averaged(ci[0], k), _averaged(ci[1], k)) if average else ci,
                n_participants=n,
                n_measurements=k,
                confidence=confidence,
                assumptions=(
                    "Participants are independent; errors are normal with one spread.",
                    _NOT_AGREEMENT,
                ),
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class MeasurementError(Result):
    """Standard error of measurement and minimal detectable change."""

    sem: Annotated[
        float,
        data(
            "standard error of measurement, √(error mean square): random error, a constant "
            "shift between columns left out"
        ),
    ]
    sem_ci: Interval
    sem_agreement: Annotated[
        float,
        data(
            "standard error of measurement with the shift, √(column variance + error mean square)"
        ),
    ]
    mdc: Annotated[
        float,
        data("minimal detectable change, z √2 sem: the change that exceeds measurement error"),
    ]
    mdc_ci: Interval
    n_participants: Annotated[int, number("rows of the scores: participants")]
    n_measurements: Annotated[int, number("columns of the scores: measurements of each")]
    confidence: Annotated[float, number("confidence of the intervals and of the detectable change")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Standard error of measurement {quantity(self.sem, unit)} "
            f"({interval(self.sem_ci, unit, self.confidence)}), minimal detectable change "
            f"{quantity(self.mdc, unit)} ({interval(self.mdc_ci, unit, self.confidence)})."
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
    SEM = √MS_error of the two-way table, MDC = z √2 SEM [1]_; the error mean square has
    (n - 1)(k - 1) degrees of freedom.

    References
    ----------
    .. [1] Weir (2005). J Strength Cond Res 19, 231-240.
    """
    scores = _scores(scores, data)
    confidence = fraction(confidence, "confidence")
    n, k = scores.shape
    _, columns, error, _ = _mean_squares(scores)
    df, sem = (n - 1) * (k - 1), float(np.sqrt(error))
    low = sem * float(np.sqrt(df / chi_square((1 + confidence) / 2, df)))
    high = sem * float(np.sqrt(df / chi_square((1 - confidence) / 2, df)))
    change = float(np.sqrt(2)) * half_width(confidence)
    return MeasurementError(
        sem=sem,
        sem_ci=(low, high),
        sem_agreement=float(np.sqrt(max(columns - error, 0.0) / n + error)),
        mdc=change * sem,
        mdc_ci=(change * low, change * high),
        n_participants=n,
        n_measurements=k,
        confidence=confidence,
        assumptions=(
            "Nobody's true value changed between the columns except by a shift common to all.",
            "Errors are independent and normal with one spread.",
        ),
    )


def concordance_interval(
    c: float, r: float, scaled_shift: float, n: int, quantile: float
) -> Interval:
    """Return Lin's interval by Fisher's z; `scaled_shift` is u² of the paper."""
    if n < 4 or abs(r) >= 1 - 1e-12 or r == 0:
        return float("nan"), float("nan")
    free, u2 = 1 - c**2, scaled_shift
    variance = (
        (1 - r**2) * c**2 / (free * r**2)
        + 2 * c**3 * (1 - c) * u2 / (r * free**2)
        - c**4 * u2**2 / (2 * r**2 * free**2)
    ) / (n - 2)
    half = quantile * float(np.sqrt(max(variance, 0.0)))
    z = float(np.arctanh(c))
    return float(np.tanh(z - half)), float(np.tanh(z + half))


def _scores(scores: ArrayLike | Sequence[str], data: pd.DataFrame | None) -> Floats:
    """Return the scores, checked to be at least 2 by 2."""
    if data is not None:
        names = [scores] if isinstance(scores, str) else list(cast("Sequence[str]", scores))
        named = {f"scores[{k}]": name for k, name in enumerate(names)}
        scores = np.column_stack(columns(data, **named))
    scores = finite_array(scores, "scores", ndim=2, min_rows=2)
    if scores.shape[1] < 2:
        raise ValueError(f"`scores` needs at least 2 columns, got shape {scores.shape}.")
    return scores


def _mean_squares(scores: Floats) -> tuple[float, float, float, float]:
    """Return the mean squares of rows, columns, error and within rows."""
    n, k = scores.shape
    mean, rows, columns = scores.mean(), scores.mean(axis=1), scores.mean(axis=0)
    between = k * float(((rows - mean) ** 2).sum()) / (n - 1)
    shift = n * float(((columns - mean) ** 2).sum()) / (k - 1)
    residual = scores - rows[:, None] - columns + mean
    error = float((residual**2).sum()) / ((n - 1) * (k - 1))
    within = float(((scores - rows[:, None]) ** 2).sum()) / (n * (k - 1))
    return between, shift, error, within


def _single_forms(
    squares: tuple[float, float, float, float], n: int, k: int, level: float
) -> tuple[tuple[float, ...], tuple[Interval, ...]]:
    """Return ICC(1,1), ICC(2,1), ICC(3,1) and their intervals."""
    rows, columns, error, within = squares
    two_way = _ratio(rows - error, rows + (k - 1) * error + k * (columns - error) / n)
    values = (
        _ratio(rows - within, rows + (k - 1) * within),
        two_way,
        _ratio(rows - error, rows + (k - 1) * error),
    )
    bounds = (
        _f_interval(rows, within, n - 1, n * (k - 1), k, level),
        _agreement_interval(squares, two_way, n, k, level),
        _f_interval(rows, error, n - 1, (n - 1) * (k - 1), k, level),
    )
    return values, bounds


def _f_interval(
    rows: float, error: float, df_rows: int, df_error: int, k: int, level: float
) -> Interval:
    """Return the interval of (R - E)/(R + (k - 1) E) from the F distribution."""
    if error == 0:
        return (1.0, 1.0) if rows > 0 else (float("nan"), float("nan"))
    low = rows / error / float(special.fdtri(df_rows, df_error, level))
    high = rows / error * float(special.fdtri(df_error, df_rows, level))
    return (low - 1) / (low + k - 1), (high - 1) / (high + k - 1)


def _agreement_interval(
    squares: tuple[float, float, float, float], value: float, n: int, k: int, level: float
) -> Interval:
    """Return the interval of ICC(2,1) with Satterthwaite's degrees of freedom (McGraw & Wong)."""
    rows, columns, error, _ = squares
    if not np.isfinite(value) or value >= 1:
        return value, value
    a = k * value / (n * (1 - value))
    b = 1 + k * value * (n - 1) / (n * (1 - value))
    spread = (a * columns) ** 2 / (k - 1) + (b * error) ** 2 / ((n - 1) * (k - 1))
    df = (a * columns + b * error) ** 2 / spread
    common = k * columns + (k * n - k - n) * error
    f_low, f_high = float(special.fdtri(n - 1, df, level)), float(special.fdtri(df, n - 1, level))
    return (
        n * (rows - f_low * error) / (f_low * common + n * rows),
        n * (f_high * rows - error) / (common + n * f_high * rows),
    )


def _averaged(single: float, k: int) -> float:
    """Return the reliability of a mean of k measurements (Spearman-Brown).

    It falls without bound as the single one nears -1/(k - 1); at and below that it has no end.
    """
    below = 1 + (k - 1) * single
    return -np.inf if below <= 0 else k * single / below


def _ratio(above: float, below: float) -> float:
    """Return a quotient, NaN where nothing varies."""
    return above / below if below != 0 else float("nan")
