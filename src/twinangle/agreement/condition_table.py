"""The table that two conditions are compared from, checked whole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._input import finite_array, numeric_column
from twinangle.agreement.variability import CycleVariability

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = ("participant", "condition", "value")


_AS_WRITTEN = 0.01  # how far a `value` may be from the SD of its cycles: tables are rounded


def checked_conditions(
    frame: pd.DataFrame,
    against: str,
    variability: Sequence[CycleVariability | ArrayLike] | None = None,
) -> tuple[pd.DataFrame, list[NDArray[np.float64]] | None]:
    """Return the columns needed, checked, and the curves behind each row where they are given.

    Parameters
    ----------
    frame, against, variability
        As `compare_conditions`.

    Returns
    -------
    table : DataFrame
        Columns participant, condition (both str) and value, one row a trial.
    curves : list of ndarray, shape (n_cycles, n_points), or None
        In the order of the rows.

    Raises
    ------
    ValueError
        If a column, `against`, a name or a number is missing, or `variability` does not match.
    """
    import pandas as pd

    curves = None if variability is None else _curves_of_rows(frame, variability)
    needed = [name for name in _COLUMNS if name != "value" or curves is None]
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise ValueError(
            f"`frame` has no column {', '.join(map(repr, missing))}; it has "
            f"{', '.join(map(repr, frame.columns))}."
        )
    table = frame.loc[:, ["participant", "condition"]].reset_index(drop=True)
    for name in ("participant", "condition"):
        if table[name].isna().any():
            raise ValueError(f"`{name}` is missing in row {int(table[name].isna().argmax())}.")
        table[name] = table[name].astype(str)
    if against not in set(table["condition"]):
        raise ValueError(
            f"`against` is {against!r}, but the conditions are "
            f"{', '.join(map(repr, pd.unique(table['condition'])))}."
        )
    if "n_cycles" in frame.columns:
        cycles = numeric_column(frame, "n_cycles")
        if (cycles < 2).any():
            row = int(np.argmax(cycles < 2))
            raise ValueError(f"`n_cycles` in row {row} is {cycles[row]:g}; at least 2 are needed.")
    if curves is None:
        table["value"] = numeric_column(frame, "value")
    else:
        table["value"] = [float(each.std(axis=0, ddof=1).mean()) for each in curves]
        _same_rows(frame, table["value"].to_numpy(dtype=np.float64), curves)
    return table, curves


def _curves_of_rows(
    frame: pd.DataFrame, variability: Sequence[CycleVariability | ArrayLike]
) -> list[NDArray[np.float64]]:
    """Return the curves behind each row of the table."""
    if len(variability) != len(frame):
        raise ValueError(
            f"`variability` has {len(variability)} entries for {len(frame)} rows of `frame`; one a "
            "row is needed, in the same order."
        )
    found = []
    for row, one in enumerate(variability):
        if isinstance(one, CycleVariability):
            found.append(one.curves)
            continue
        try:
            found.append(finite_array(one, "curves", ndim=2, min_rows=2))
        except ValueError as error:
            raise ValueError(f"`variability` of row {row}: {error}") from error
    return found


def _same_rows(
    frame: pd.DataFrame, sds: NDArray[np.float64], curves: Sequence[NDArray[np.float64]]
) -> None:
    """Refuse cycles that are not those of the rows they stand beside."""
    stated = {
        "value": (sds, _AS_WRITTEN),
        "n_cycles": (np.array([float(each.shape[0]) for each in curves]), 0.0),
    }
    for name, (found, tolerance) in stated.items():
        if name not in frame.columns:
            continue
        given = numeric_column(frame, name)
        bad = ~np.isclose(given, found, rtol=tolerance, atol=1e-12)
        if bad.any():
            row = int(np.argmax(bad))
            raise ValueError(
                f"`{name}` in row {row} is {given[row]:g}, but the cycles in `variability` of that "
                f"row have {found[row]:g}: are both in the same order?"
            )


def participant_means(table: pd.DataFrame, values: NDArray[np.float64]) -> pd.DataFrame:
    """Return the mean over trials: a row a participant, a column a condition."""
    import pandas as pd

    keys = [table["participant"], table["condition"]]
    return pd.Series(values).groupby(keys, sort=False).mean().unstack()  # noqa: PD010
