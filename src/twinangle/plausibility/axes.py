"""Mappings of three channels to three axes in words."""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Array

_NAMES = "xyz"


def changed(mapping: Array) -> int:
    """Return how many mistakes a signed permutation (3, 3) is.

    One for two channels exchanged, for one sign, and for all three signs together; two for three
    channels in a circle.
    """
    order = np.abs(mapping).argmax(axis=1)
    signs = mapping[range(3), order]
    moved = int((order != np.arange(3)).sum())
    negative = int((signs < 0).sum())
    return max(moved - 1, 0) + (1 if negative == 3 else negative)


def in_words(mapping: Array) -> str:
    """Return what was done to the channels: `y has the wrong sign`, `x and y are exchanged`."""
    order = np.abs(mapping).argmax(axis=1)
    signs = mapping[range(3), order]
    moved = [int(k) for k in np.flatnonzero(order != np.arange(3))]
    said = []
    if len(moved) == 2:
        said.append(f"{_NAMES[moved[0]]} and {_NAMES[moved[1]]} are exchanged")
    elif len(moved) == 3:
        said.append("x, y and z are in the wrong order")
    wrong = [_NAMES[k] for k in range(3) if signs[k] < 0]
    if len(wrong) == 3:
        said.append("all three axes have the wrong sign")
    elif wrong:
        verb = "have" if len(wrong) > 1 else "has"
        said.append(f"{' and '.join(wrong)} {verb} the wrong sign")
    return ", and ".join(said)


def as_columns(mapping: Array) -> str:
    """Return the channels in the order and with the signs that would agree: `(x, −z, y)`."""
    order = np.abs(mapping).argmax(axis=1)
    signs = mapping[range(3), order]
    parts = [("−" if sign < 0 else "") + _NAMES[k] for k, sign in zip(order, signs, strict=True)]
    return f"({', '.join(parts)})"


def up_to_sign(mapping: Array) -> Array:
    """Return a mapping or its negative, whichever is the smaller mistake."""
    return mapping if changed(mapping) <= changed(-mapping) else -mapping
