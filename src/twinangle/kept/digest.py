"""One hash of a value of ours: the same for equal values, another where a bit differs."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path

import numpy as np

from twinangle.notices import Notice


def digest_of(value: object, folder: Path | None = None) -> str:
    """Return 64 hexadecimal digits that stand for a value.

    Parameters
    ----------
    value : object
        Texts, numbers, bytes, arrays, paths, and dataclasses, tuples, lists and mappings of them;
        the order of a mapping counts, as outputs follow it.
    folder : Path, optional
        Paths below it are named from there, so that a study may be moved.

    Raises
    ------
    TypeError
        If it holds anything else, such as a function: nothing is known of that.
    ValueError
        If it holds a path that is not below `folder`.
    """
    digest = hashlib.sha256()
    _feed(digest.update, value, folder)
    return digest.hexdigest()


def _feed(add: Callable[[bytes], object], value: object, folder: Path | None) -> None:
    """Add a value, each part with its kind and length, so that no two run into one another."""
    kind = type(value)
    if kind is float:
        add(b"f" + struct.pack("<d", value))
    elif kind is str:
        _add_text(add, "s", str(value))
    elif value is None or kind is bool or kind is int:
        add(f"{value!r};".encode())
    elif kind is bytes:
        add(b"b%d:" % len(value))  # type: ignore[arg-type]
        add(value)  # type: ignore[arg-type]
    elif kind is tuple or isinstance(value, tuple | list):
        add(b"t%d:" % len(value))  # type: ignore[arg-type]
        for item in value:  # type: ignore[attr-defined]
            _feed(add, item, folder)
    elif isinstance(value, np.ndarray | np.generic):
        _add_array(add, np.asarray(value))
    else:
        _feed_other(add, value, folder)


def _feed_other(add: Callable[[bytes], object], value: object, folder: Path | None) -> None:
    if isinstance(value, Notice):
        _add_text(add, "n", str(value))
        _feed(add, (value.kind, value.gravity, value.size), folder)
    elif isinstance(value, str):
        _add_text(add, type(value).__name__, str(value))
    elif isinstance(value, Path):
        _add_text(add, "p", (value if folder is None else value.relative_to(folder)).as_posix())
    elif isinstance(value, Mapping):
        add(b"m%d:" % len(value))
        for each in value.items():
            _feed(add, each, folder)
    elif is_dataclass(value) and not isinstance(value, type):
        _add_text(add, "d", type(value).__name__)
        for name in _names(type(value)):
            _feed(add, getattr(value, name), folder)
    else:
        raise TypeError(f"No rule to hash {type(value).__name__}.")


def _add_text(add: Callable[[bytes], object], kind: str, text: str) -> None:
    data = text.encode("utf-8", "surrogatepass")
    add(f"{kind}{len(data)}:".encode() + data)


def _add_array(add: Callable[[bytes], object], array: np.ndarray) -> None:
    if array.dtype.hasobject:
        raise TypeError("No rule to hash an array of objects.")
    add(f"a{array.dtype.str}{array.shape}".encode())
    add(np.ascontiguousarray(array).tobytes())


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))
