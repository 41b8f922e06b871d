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


def require_not_negative(value: float, name: str) -> None:
    """Refuse a number below zero.

    Raises
    ------
    ValueError
        If `value` is not finite or below zero.
    """
    if not (np.isfinite(value) and value >= 0):
        raise ValueError(f"`{name}` must be 0 or more, got {value!r}.")


def require_fraction(value: float, name: str) -> None:
    """Refuse a number that is not strictly between 0 and 1, such as a confidence.

    Raises
    ------
    ValueError
        If `value` is not strictly between 0 and 1.
    """
    if not 0 < value < 1:
        raise ValueError(f"`{name}` must lie between 0 and 1 (such as 0.95), got {value!r}.")
