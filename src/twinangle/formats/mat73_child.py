"""The numeric arrays of an HDF5 file, MATLAB 7.3 or plain, on standard output; run as a script.

    python -P mat73_child.py FILE MOST_BYTES matlab|plain

A line of JSON, the arrays' names, shapes and units or an error, then their values as float64, one
array after the other, row by row. Imports next to nothing of the package, so that it starts
quickly, and takes only itself down with it when the HDF5 library fails on a damaged file.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import h5py
import numpy as np

from twinangle.platform_calls import end_with_parent, limit_process

DEEPEST = 20  # structs within structs
MOST_OBJECTS = 10_000
SPARE_BYTES = 1 << 30
SPARE_SECONDS = 3
BYTES_A_SECOND = 5_000_000
INTEGERS = tuple(f"{sign}int{bits}" for sign in ("", "u") for bits in (8, 16, 32, 64))
NUMERIC = ("double", "single", "logical", *INTEGERS, "")


class Part(NamedTuple):
    """One array: its name, shape and unit, and what reads it."""

    name: str
    shape: tuple[int, int]
    unit: str
    read: Callable[[], Any]


def matlab_class(item: Any) -> str:
    """Return the class that MATLAB wrote beside an array or a struct; empty where there is none."""
    found = item.attrs.get("MATLAB_class", b"")
    return found.decode("ascii", "replace") if isinstance(found, bytes) else str(found)


def arrays(
    group: Any, prefix: str, depth: int, count: list[int], objects: dict[str, str]
) -> Iterator[tuple[str, Any]]:
    """Yield names and data sets of real numbers, those of structs under ``struct.field``.

    Links to other files, texts, cells, complex and sparse arrays, arrays of structs and objects
    are left out; `objects` is given the names and classes of objects.
    """
    for name in group:
        count[0] += 1
        if depth > DEEPEST or count[0] > MOST_OBJECTS:
            raise ValueError(f"it has more than {MOST_OBJECTS} variables or {DEEPEST} levels")
        if name.startswith("#") or not isinstance(group.get(name, getlink=True), h5py.HardLink):
            continue
        item = group[name]
        if isinstance(item, h5py.Group):
            if "MATLAB_sparse" not in item.attrs:
                yield from arrays(item, f"{prefix}{name}.", depth + 1, count, objects)
        elif "MATLAB_object_decode" in item.attrs:
            objects[prefix + name] = matlab_class(item)
        elif isinstance(item, h5py.Dataset) and is_numeric(item):
            yield prefix + name, item


def is_numeric(item: Any) -> bool:
    """Tell an array of real numbers of one or two dimensions."""
    return (
        item.dtype.kind in "iuf"
        and item.shape is not None
        and 1 <= len(item.shape) <= 2
        and matlab_class(item) in NUMERIC
        and "MATLAB_empty" not in item.attrs
        and not item.is_virtual
        and item.external is None
    )


def matlab_parts(file: Any, objects: dict[str, str]) -> Iterator[Part]:
    """Yield MATLAB's arrays; its order is the transpose of what HDF5 holds."""
    for name, item in arrays(file, "", 0, [0], objects):
        yield Part(name, (*item.shape[::-1], 1)[:2], "", partial(whole, item, turned=True))


def plain_parts(group: Any, prefix: str, depth: int, count: list[int]) -> Iterator[Part]:
    """Yield the columns of plain HDF5: data sets, the fields of tables, frames as pandas has them.

    An array of (n, k) is one part of k columns. A field or a data set of anything but real numbers
    is left out.
    """
    names = list(group)
    for name in names:
        count[0] += 1
        if depth > DEEPEST or count[0] > MOST_OBJECTS:
            raise ValueError(f"it has more than {MOST_OBJECTS} data sets or {DEEPEST} levels")
        if not isinstance(group.get(name, getlink=True), h5py.HardLink):
            continue
        item = group[name]
        if isinstance(item, h5py.Group):
            yield from plain_parts(item, f"{prefix}{name}.", depth + 1, count)
        elif isinstance(item, h5py.Dataset) and is_held(item):
            yield from columns_of(group, names, prefix, name, item)


def is_held(item: Any) -> bool:
    """Tell a data set of one or two dimensions that the file itself holds."""
    within = not item.is_virtual and item.external is None
    return within and item.shape is not None and 1 <= len(item.shape) <= 2


def columns_of(group: Any, names: list[str], prefix: str, name: str, item: Any) -> Iterator[Part]:
    """Yield the numeric columns of one data set."""
    n_rows = item.shape[0]
    if item.dtype.names is not None and len(item.shape) == 1:
        for field in item.dtype.names:
            if item.dtype[field].kind in "iuf":
                read = partial(field_of, item, field)
                yield Part(f"{prefix}{name}.{field}", (n_rows, 1), "", read)
    elif item.dtype.kind in "iuf":
        width = item.shape[1] if len(item.shape) == 2 else 1
        titles = name.removesuffix("values") + "items"
        if name.endswith("_values") and titles in names and group[titles].shape == (width,):
            labels = [text_of(each) for each in group[titles][...]]
            for k, label in enumerate(labels):
                yield Part(prefix + label, (n_rows, 1), "", partial(column_of, item, k))
        elif not (f"block0_{name}" in names or re.fullmatch(r"axis\d", name)):
            yield Part(prefix + name, (n_rows, width), unit_of(item), partial(whole, item))


def whole(item: Any, *, turned: bool = False) -> Any:
    """Read a data set, turned as MATLAB has it where asked."""
    return item[...].T if turned else item[...]


def field_of(item: Any, field: str) -> Any:
    """Read one field of a table."""
    return item.fields(field)[...]


def column_of(item: Any, column: int) -> Any:
    """Read one column of a matrix."""
    return item[:, column]


def text_of(value: Any) -> str:
    """Return a text of HDF5, whatever type it was stored in."""
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def unit_of(item: Any) -> str:
    """Return the unit that stands beside a data set; empty where none does."""
    found = next((item.attrs[key] for key in ("unit", "units") if key in item.attrs), "")
    return text_of(found) if isinstance(found, (str, bytes)) else ""


def send(path: Path, most_bytes: int, mode: str, out: Any) -> None:
    """Write every array of the file."""
    objects: dict[str, str] = {}
    with h5py.File(path, "r", locking=False) as file:
        matlab = mode == "matlab"
        found = list(matlab_parts(file, objects) if matlab else plain_parts(file, "", 0, [0]))
        head = [(part.name, part.shape, part.unit) for part in found]
        claimed = 0
        for part in found:
            claimed += 8 * part.shape[0] * part.shape[1]
            if claimed > most_bytes:
                raise ValueError(
                    f"its array {part.name!r} of the shape {part.shape} brings it to {claimed} "
                    f"bytes of numbers; accepted: {most_bytes}"
                )
        limit_process(SPARE_BYTES + 2 * claimed, SPARE_SECONDS + claimed // BYTES_A_SECOND)
        values = [np.ascontiguousarray(part.read(), dtype=np.float64) for part in found]
        out.write(json.dumps({"arrays": head, "objects": objects}).encode() + b"\n")
        for each in values:
            out.write(each.data)


def main() -> None:
    """Read the file named on the command line."""
    end_with_parent()
    path = Path(sys.argv[1])
    limit_process(SPARE_BYTES, SPARE_SECONDS + path.stat().st_size // BYTES_A_SECOND)
    try:
        send(path, int(sys.argv[2]), sys.argv[3], sys.stdout.buffer)
    except Exception as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        sys.stdout.buffer.write(json.dumps({"error": reason}).encode() + b"\n")


if __name__ == "__main__":
    main()
