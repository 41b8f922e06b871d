"""Whether two results are the same: to the last bit, a missing number like a missing number."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from twinangle.notices import gravity_of, kind_of, size_of


def same_results(a: Any, b: Any) -> bool:
    """Return whether two results, or parts of them, hold the same.

    Parameters
    ----------
    a, b : object
        Results, their parts, or values within them.

    Returns
    -------
    bool
        Arrays and numbers must agree exactly; NaN is the same as NaN. Of warnings, kind,
        gravity and size as well as the text.
    """
    return difference(a, b) is None


def difference(a: Any, b: Any, where: str = "") -> str | None:
    """Return the first place at which two results differ, or None."""
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        same = np.array_equal(np.asarray(a), np.asarray(b), equal_nan=True)
        return None if same else where
    if is_dataclass(a) and type(a) is type(b):
        pairs = [(f".{f.name}", getattr(a, f.name), getattr(b, f.name)) for f in fields(a)]
    elif isinstance(a, Mapping) and isinstance(b, Mapping):
        if list(a) != list(b):
            return f"{where}: {list(a)} against {list(b)}"
        pairs = [(f"[{key!r}]", a[key], b[key]) for key in a]
    elif isinstance(a, tuple | list) and isinstance(b, tuple | list):
        if len(a) != len(b):
            return f"{where}: {len(a)} values against {len(b)}"
        pairs = [(f"[{k}]", one, other) for k, (one, other) in enumerate(zip(a, b, strict=True))]
    else:
        return None if _same_value(a, b) else f"{where}: {a!r} against {b!r}"
    found = (difference(one, other, f"{where}{name}") for name, one, other in pairs)
    return next((place for place in found if place is not None), None)


def _same_value(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, float) and math.isnan(a):
        return math.isnan(b)
    if isinstance(a, str) and isinstance(b, str):
        same = str(a) == str(b) and kind_of(a) == kind_of(b) and gravity_of(a) == gravity_of(b)
        return same and _same_value(size_of(a), size_of(b))
    return bool(a == b)
