"""Reliability: intraclass correlations with their forms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
import scipy
from numpy.typing import ArrayLike

from twinangle.agreement._input import fraction
from twinangle.agreement._result import Interval, Result, interval, quantity
from twinangle.agreement._two_way import mean_squares, scores_of
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd

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
    That of ICC(2,1) is too narrow where the columns shift, for all participants alike, by as much
    as single values err (88 % of 95 % with 24 participants and 2 columns; docs).

    References
    ----------
    .. [1] Shrout & Fleiss (1979). Psychol Bull 86, 420-428.
    .. [2] McGraw & Wong (1996). Psychol Methods 1, 30-46. Koo & Li (2016). J Chiropr Med 15, 155.
    """
    scores = scores_of(scores, data)
    fraction(confidence, "confidence")
    n, k = scores.shape
    values, bounds = _single_forms(mean_squares(scores), n, k, (1 + confidence) / 2)
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
    low = rows / error / float(scipy.special.fdtri(df_rows, df_error, level))
    high = rows / error * float(scipy.special.fdtri(df_error, df_rows, level))
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
    f_low, f_high = (
        float(scipy.special.fdtri(n - 1, df, level)),
        float(scipy.special.fdtri(df, n - 1, level)),
    )
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
