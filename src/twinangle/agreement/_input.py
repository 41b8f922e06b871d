"""Argument checks of the statistics, so that the package can be used alone."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.checks import as_float_array, require_finite, require_fraction

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]


def finite_array(
    values: ArrayLike, name: str, *, ndim: int, min_rows: int = 1, participant: object = None
) -> Floats:
    """Return `values` as finite float64 of `ndim` dimensions and at least `min_rows` rows.

    `participant`: what stands beside the values row by row, if anything does; where both are of
    pandas their indexes must be the same.

    Raises
    ------
    ValueError
        If the values are not numbers, are missing or infinite, or have another shape, or the
        indexes differ.
    """
    require_one_index({name: values, "participant": participant})
    array = as_float_array(values, name, ndim=ndim).copy()
    if array.shape[0] < min_rows or array.size == 0:
        raise ValueError(f"`{name}` needs at least {min_rows} row(s), got shape {array.shape}.")
    require_finite(array, name)
    return array


def numeric_column(frame: pd.DataFrame, name: str) -> Floats:
    """Return a column of a table as finite numbers.

    Raises
    ------
    ValueError
        If a value is no number; the message names column and row.
    """
    import pandas as pd

    values = pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=np.float64)
    bad = ~np.isfinite(values)
    if bad.any():
        row = int(np.argmax(bad))
        raise ValueError(f"`{name}` in row {row} is {frame[name].iloc[row]!r}, not a number.")
    return np.asarray(values, dtype=np.float64)


def finite_pair(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    ndim: int,
    min_rows: int = 1,
    participant: object = None,
) -> tuple[Floats, Floats]:
    """Return both instruments' values, of one and the same shape.

    Raises
    ------
    ValueError
        If either is not finite, the shapes differ, or indexes of pandas differ.
    """
    require_one_index({"test": test, "reference": reference, "participant": participant})
    first = finite_array(test, "test", ndim=ndim, min_rows=min_rows)
    second = finite_array(reference, "reference", ndim=ndim, min_rows=min_rows)
    if first.shape != second.shape:
        raise ValueError(
            f"`test` has shape {first.shape} and `reference` {second.shape}; both instruments "
            "must have the same cycles (rows) and points (columns)."
        )
    return first, second


def require_one_index(columns: Mapping[str, object]) -> None:
    """Refuse columns of pandas whose indexes differ: row would stand beside row by position.

    Raises
    ------
    ValueError
        If two of them have unlike indexes; the message names both and the first unlike row.
    """
    pd = sys.modules.get("pandas")
    if pd is None:  # slow to import, and without it nobody holds a column of it
        return
    indexed = {
        name: column.index
        for name, column in columns.items()
        if isinstance(column, pd.Series | pd.DataFrame)
    }
    if len(indexed) < 2:
        return
    (first, index), *others = indexed.items()
    for name, other in others:
        if index.equals(other):
            continue
        pairs = enumerate(zip(index, other, strict=False))
        at = next((k for k, (a, b) in pairs if a != b), None)
        where = f"{len(index)} and {len(other)} rows"
        if at is not None:
            ends = index.tolist()[at], other.tolist()[at]
            where = f"row {at} is {ends[0]!r} in the one and {ends[1]!r} in the other"
        raise ValueError(
            f"`{first}` and `{name}` have unlike indexes ({where}), so their rows do not belong "
            "together as they stand. Take both from one table, or align them "
            f"(`{name}.reindex({first}.index)`); arrays (`.to_numpy()`) are taken row by row."
        )


def require_names(participant: ArrayLike | Sequence[object]) -> None:
    """Refuse readings of an instrument where participants are named.

    Names are text or whole numbers. Readings give themselves away by fractions, by floats of
    which no two are alike, by whole numbers mostly unlike and in no order, or by whole numbers
    whose rows lie apart and that occur unlike often, as ties of readings do.

    Raises
    ------
    ValueError
        If `participant` holds readings; the message says which argument is which.
    """
    labels = np.asarray(participant)
    if labels.dtype.kind not in "iuf" or labels.ndim != 1 or labels.size < 2:
        return
    known = labels[np.isfinite(labels)]
    unlike, steps = np.unique(known).size, np.diff(known)
    if labels.dtype.kind == "f" and (known != np.round(known)).any():
        what = "numbers with fractions"
    elif labels.dtype.kind == "f" and unlike == labels.size:
        what = f"{unlike} floating-point numbers, no two of them alike"
    elif 2 * unlike > labels.size and (steps > 0).any() and (steps < 0).any():
        what = f"{unlike} different numbers in {labels.size} rows, in no order"
    elif _scattered(known):
        what = f"{unlike} different numbers, unlike often and with their rows apart"
    else:
        return
    raise ValueError(
        f"`participant` says whose each row is, but holds {what}, as readings of an instrument "
        "do. The readings of two instruments go in as their difference: "
        "limits_of_agreement(test - reference, participant), where every pair is of another "
        "participant without `participant`. If these are participants' codes, give them as text."
    )


def _scattered(codes: Floats) -> bool:
    """Return whether equal codes lie apart, some more often than others, and none counts from 1.

    Codes of participants stand together, or in turn (each once a round, the last round cut), or are
    the numbers from 0 or 1 on.
    """
    names, counts = np.unique(codes, return_counts=True)
    if names[0] in (0, 1) and names[-1] == names[0] + names.size - 1:
        return False
    runs = 1 + int(np.count_nonzero(np.diff(codes)))
    return runs > counts.size and bool(np.ptp(counts) > 1)


def require_number(value: Any, name: str, meaning: str) -> None:
    """Refuse a column where one number is asked for.

    Raises
    ------
    ValueError
        If `value` is not one number; the message says what the argument means.
    """
    if np.ndim(value) != 0 or isinstance(value, str | bytes) or value is None:
        raise ValueError(
            f"`{name}` must be one number, {meaning}, got {type(value).__name__} of shape "
            f"{np.shape(value)}. The readings of two instruments go in as their difference, "
            "test - reference, in the first argument."
        )


def fraction(value: float, name: str) -> float:
    """Return a number strictly between 0 and 1, such as a confidence.

    Raises
    ------
    ValueError
        If `value` is not strictly between 0 and 1.
    """
    require_fraction(value, name)
    return float(value)


def read_only(values: Floats) -> Floats:
    """Return the array with writing switched off, for a frozen result."""
    values.setflags(write=False)
    return values
