"""Argument checks, one wording each."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

LARGEST = 1e30
"""No signal or setting is larger in any unit; squares and sums of such ones are still finite."""


def as_float_array(values: ArrayLike, name: str, *, ndim: int) -> NDArray[np.float64]:
    """Return `values` as a float64 array of `ndim` dimensions.

    Raises
    ------
    ValueError
        If the values are not numbers or have another number of dimensions.
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"`{name}` must hold numbers only: {error}.") from error
    if array.ndim != ndim:
        raise ValueError(f"`{name}` must have {ndim} dimension(s), got shape {array.shape}.")
    return array


def require_finite(values: NDArray[np.float64], name: str) -> None:
    """Refuse missing or infinite values.

    Raises
    ------
    ValueError
        If any value is NaN or infinite; the message counts them and names the first.
    """
    bad = ~np.isfinite(values)
    if bad.any():
        first = tuple(int(i) for i in np.argwhere(bad)[0])
        index = first[0] if len(first) == 1 else first
        raise ValueError(
            f"`{name}` has {int(bad.sum())} missing or infinite value(s), the first at index "
            f"{index}. Drop or interpolate them first."
        )


def require_positive(value: float, name: str) -> None:
    """Refuse a number that is not above zero.

    Raises
    ------
    ValueError
        If `value` is not finite or not above zero.
    """
    if not (np.isfinite(value) and value > 0):
        raise ValueError(f"`{name}` must be above 0, got {value!r}.")
