"""Coefficient of multiple correlation of curves, with its cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats, finite_array, finite_pair
from twinangle.agreement._result import Result, counted
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class MultipleCorrelation(Result):
    """Coefficient of multiple correlation."""

    value: Annotated[
        float,
        number("the coefficient; NaN where its square is negative, which leaves it undefined"),
    ]
    squared: Annotated[
        float,
        number(
            "square of the coefficient, negative when curves differ more from each other "
            "than along the cycle"
        ),
    ]
    form: Annotated[str, number("'between cycles' or 'between instruments within cycles'")]
    n_cycles: Annotated[int, number("cycles seen")]
    assumptions: Annotated[tuple[str, ...], number("cautions on the coefficient")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; it has no unit."""
        if np.isnan(self.value):
            return (
                f"The coefficient of multiple correlation {self.form} is undefined (its square is "
                f"{self.squared:.3f})."
            )
        return (
            f"Coefficient of multiple correlation {self.form} {self.value:.3f} "
            f"({counted(self.n_cycles, 'cycle')})."
        )


def coefficient_of_multiple_correlation(
    curves: ArrayLike,
    *,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> MultipleCorrelation:
    """Measure how alike the cycles of one instrument are.

    Parameters
    ----------
    curves : array_like of float, shape (n_cycles, n_points)
        One row a cycle, at least 2.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    MultipleCorrelation

    Raises
    ------
    ValueError
        If there are fewer than 2 cycles or points, or a value is missing or infinite.

    Notes
    -----
    N cycles of T points::

        c² = 1 - [Σ (Y_ij - mean over cycles at j)² / (T (N - 1))]
               / [Σ (Y_ij - grand mean)² / (N T - 1)]

    References
    ----------
    .. [1] Kadaba et al. (1989). J Orthop Res 7, 849-860.
    """
    curves, _ = curves_of(data, cycle, point, curves=curves)
    curves = finite_array(curves, "curves", ndim=2, min_rows=2)
    _require_points(curves)
    return _coefficient(curves[None], "between cycles", curves.shape[0])


def instrument_multiple_correlation(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> MultipleCorrelation:
    """Measure how alike the curves of two instruments are within each cycle.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of the same cycles.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    MultipleCorrelation

    Raises
    ------
    ValueError
        If the shapes differ, there are fewer than 2 points, or a value is missing or infinite.

    Notes
    -----
    As `multiple_correlation`, with the two instruments in the place of cycles, the sums running
    over all cycles and the grand mean taken in each cycle: variability between cycles does not
    count.

    References
    ----------
    .. [1] Ferrari et al. (2010). Gait Posture 31, 540-542.
    """
    test, reference, _ = curves_of(data, cycle, point, test=test, reference=reference)
    test, reference = finite_pair(test, reference, ndim=2)
    _require_points(test)
    both = np.stack([test, reference], axis=1)
    return _coefficient(both, "between instruments within cycles", test.shape[0])


def _coefficient(groups: Floats, form: str, n_cycles: int) -> MultipleCorrelation:
    """Return the coefficient of (group, repetition, point)."""
    g, n, t = groups.shape
    apart = float(((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum()) / (g * t * (n - 1))
    grand = groups.mean(axis=(1, 2), keepdims=True)
    whole = float(((groups - grand) ** 2).sum()) / (g * (n * t - 1))
    squared = 1 - apart / whole if whole > 0 else float("nan")
    return MultipleCorrelation(
        value=float(np.sqrt(squared)) if squared >= 0 else float("nan"),
        squared=squared,
        form=form,
        n_cycles=n_cycles,
        assumptions=(
            (
                "It grows with the range of the movement, whatever the error in its own unit "
                "(Røislien et al. 2012, J Biomech 45:2014); never the main result."
            ),
            (
                "It mixes offset, gain, timing and noise, and is undefined when its square is "
                "negative."
            ),
        ),
    )


def _require_points(curves: Floats) -> None:
    """Refuse curves of a single point."""
    if curves.shape[1] < 2:
        raise ValueError(f"curves need at least 2 points, got shape {curves.shape}.")
