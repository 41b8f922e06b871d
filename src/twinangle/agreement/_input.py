"""Argument checks of the statistics, so that the package can be used alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def finite_array(values: ArrayLike, name: str, *, ndim: int, min_rows: int = 1) -> Floats:
    """Return `values` as finite float64 of `ndim` dimensions and at least `min_rows` rows.

    Raises
    ------
    ValueError
        If the values are not numbers, are missing or infinite, or have another shape.
    """
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"`{name}` must hold numbers only: {error}.") from error
    if array.ndim != ndim:
        raise ValueError(f"`{name}` must have {ndim} dimension(s), got shape {array.shape}.")
    if array.shape[0] < min_rows or array.size == 0:
        raise ValueError(f"`{name}` needs at least {min_rows} row(s), got shape {array.shape}.")
    bad = ~np.isfinite(array)
    if bad.any():
        first = tuple(int(i) for i in np.argwhere(bad)[0])
        index = first[0] if ndim == 1 else first
        raise ValueError(
            f"`{name}` has {int(bad.sum())} missing or infinite value(s), the first at index "
            f"{index}. Drop or interpolate them first."
        )
    return array


def finite_pair(
    test: ArrayLike, reference: ArrayLike, *, ndim: int, min_rows: int = 1
) -> tuple[Floats, Floats]:
    """Return both instruments' values, of one and the same shape.

    Raises
    ------
    ValueError
        If either is not finite or the shapes differ.
    """
    first = finite_array(test, "test", ndim=ndim, min_rows=min_rows)
    second = finite_array(reference, "reference", ndim=ndim, min_rows=min_rows)
    if first.shape != second.shape:
        raise ValueError(
            f"`test` has shape {first.shape} and `reference` {second.shape}; both instruments "
            "must have the same cycles (rows) and points (columns)."
        )
    return first, second


def fraction(value: float, name: str) -> float:
    """Return a number strictly between 0 and 1, such as a confidence.

    Raises
    ------
    ValueError
        If `value` is not strictly between 0 and 1.
    """
    if not 0 < value < 1:
        raise ValueError(f"`{name}` must lie between 0 and 1 (such as 0.95), got {value!r}.")
    return float(value)


def read_only(values: Floats) -> Floats:
    """Return the array with writing switched off, for a frozen result."""
    values.setflags(write=False)
    return values
