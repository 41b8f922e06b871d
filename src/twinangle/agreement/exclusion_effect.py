"""What leaving cycles out does to the variability between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._from_frame import curves as curves_of
from twinangle.agreement._input import Floats
from twinangle.agreement._result import Result, counted, quantity
from twinangle.checks import as_float_array
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

NAN = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class ExclusionEffect(Result):
    """SD over all cycles of the movement beside that over those kept; changes are kept - all."""

    n_all: Annotated[int, number("cycles of the movement, kept or left out by a rule or by hand")]
    n_outliers: Annotated[int, number("of these left out as outliers of duration or course")]
    test_sd_all: Annotated[
        float, data("SD over all cycles of the movement of the test instrument, mean of points")
    ]
    reference_sd_all: Annotated[float, data("the same of the reference")]
    test_sd_change: Annotated[
        float, data("SD over the kept cycles minus SD over all, test instrument")
    ]
    reference_sd_change: Annotated[float, data("the same of the reference")]
    test_sd_outlier_change: Annotated[
        float, data("SD over the kept cycles minus SD with the outliers kept in, test instrument")
    ]
    reference_sd_outlier_change: Annotated[float, data("the same of the reference")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        seen = np.isfinite(self.reference_sd_all)
        other = f" (reference {quantity(self.reference_sd_all, unit)})" if seen else ""
        moved = f" (reference {quantity(self.reference_sd_change, unit)})" if seen else ""
        alone = f" ({quantity(self.reference_sd_outlier_change, unit)})" if seen else ""
        outliers = (
            f", the {counted(self.n_outliers, 'outlier')} among them alone by "
            f"{quantity(self.test_sd_outlier_change, unit)}{alone}"
            if self.n_outliers
            else ""
        )
        return (
            f"Over all {counted(self.n_all, 'cycle')} of the movement the SD is "
            f"{quantity(self.test_sd_all, unit)}{other}; what was left out changed it by "
            f"{quantity(self.test_sd_change, unit)}{moved}{outliers}."
        )


def exclusion_effect(
    test: ArrayLike | str,
    reference: ArrayLike | str | None,
    *,
    kept: ArrayLike | str,
    outlying: ArrayLike | str,
    data: pd.DataFrame | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> ExclusionEffect:
    """Compare the SD over cycles with and without those that were left out.

    Parameters
    ----------
    test, reference : array_like of float, shape (n_cycles, n_points)
        Curves of every cycle of the movement, kept or not; None without a reference.
    kept, outlying : array_like of bool, shape (n_cycles,)
        Which cycles were kept, and which were left out as outliers.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns.
    cycle, point : str
        Its columns of the cycle (or several that tell cycles apart) and of the point within it.

    Returns
    -------
    ExclusionEffect

    Raises
    ------
    ValueError
        If shapes differ or a cycle is both kept and outlying.

    Notes
    -----
    SD(S) = Σ_k s_k(S)/K, with s_k the standard deviation (n - 1) over the cycles of the set S at
    point k of K: the per-cycle SD of :func:`~twinangle.agreement.cycle_variability`. Given are
    SD(all), SD(kept) - SD(all), and SD(kept) - SD(kept and outlying). Common practice, no source.
    """
    if data is not None:
        given = {"test": test, "reference": reference, "kept": kept, "outlying": outlying}
        names = [key for key, value in given.items() if value is not None]
        shaped = curves_of(data, cycle, point, **{key: given[key] for key in names})
        found = dict(zip(names, shaped, strict=False))
        test, reference = found["test"], found.get("reference")
        kept, outlying = (_of_cycles(found[key], key) for key in ("kept", "outlying"))
    a, chosen, odd = _checked(test, kept, outlying, "test")
    b = None if reference is None else _checked(reference, kept, outlying, "reference")[0]
    every = np.ones(chosen.size, dtype=bool)

    def changes(curves: Floats | None) -> tuple[float, float, float]:
        if curves is None:
            return NAN, NAN, NAN
        whole, some, more = (_sd(curves[part]) for part in (every, chosen, chosen | odd))
        return whole, some - whole, some - more

    test_all, test_change, test_outliers = changes(a)
    reference_all, reference_change, reference_outliers = changes(b)
    return ExclusionEffect(
        n_all=int(chosen.size),
        n_outliers=int(odd.sum()),
        test_sd_all=test_all,
        reference_sd_all=reference_all,
        test_sd_change=test_change,
        reference_sd_change=reference_change,
        test_sd_outlier_change=test_outliers,
        reference_sd_outlier_change=reference_outliers,
        assumptions=("Cycles with a gap, of calibration and outside the stretch do not count.",),
    )


def _of_cycles(flags: Floats, name: str) -> NDArray[np.bool_]:
    """Return one flag a cycle from a table's one a point."""
    if (flags != flags[:, :1]).any():
        raise ValueError(f"`{name}` changes within a cycle; each cycle needs one value throughout.")
    return np.asarray(flags[:, 0] != 0)


def _checked(
    curves: ArrayLike, kept: ArrayLike, outlying: ArrayLike, name: str
) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    values = as_float_array(curves, name, ndim=2)
    chosen, odd = np.asarray(kept, dtype=bool), np.asarray(outlying, dtype=bool)
    if not values.shape[0] == chosen.size == odd.size:
        raise ValueError(
            f"`{name}` has {values.shape[0]} cycles, `kept` {chosen.size} and `outlying` "
            f"{odd.size}: all must be of the same cycles."
        )
    if (chosen & odd).any():
        raise ValueError("`kept` and `outlying` must not name the same cycle.")
    return values, chosen, odd


def _sd(curves: Floats) -> float:
    return float(curves.std(axis=0, ddof=1).mean()) if curves.shape[0] > 1 else NAN
