"""The numeric arrays of a MATLAB 7.3 (HDF5) file, written to standard output; run as a script.

    python -P mat73_child.py FILE MOST_BYTES

A line of JSON, the arrays' names and shapes or an error, then their values as float64, one array
after the other, row by row. Imports next to nothing of the package, so that it starts quickly, and
takes only itself down with it when the HDF5 library fails on a damaged file.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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


def matlab_class(item: Any) -> str:
    """Return the class that MATLAB wrote beside an array or a struct; empty where there is none."""
    found = item.attrs.get("MATLAB_class", b"")
    return found.decode("ascii", "replace") if isinstance(found, bytes) else str(found)


def arrays(group: Any, prefix: str, depth: int, count: list[int]) -> Iterator[tuple[str, Any]]:
    """Yield names and data sets of real numbers, those of structs under ``struct.field``.

    Links to other files, texts, cells, complex and sparse arrays, arrays of structs and objects
    are left out.
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
                yield from arrays(item, f"{prefix}{name}.", depth + 1, count)
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


def send(path: Path, most_bytes: int, out: Any) -> None:
    """Write every array of the file; MATLAB's order is the transpose of what HDF5 holds."""
    with h5py.File(path, "r", locking=False) as file:
        found = list(arrays(file, "", 0, [0]))
        head = [(name, (*item.shape[::-1], 1)[:2]) for name, item in found]
        claimed = 0
        for name, item in found:
            claimed += 8 * item.size
            if claimed > most_bytes:
                raise ValueError(
                    f"its array {name!r} of the shape {item.shape[::-1]} brings it to {claimed} "
                    f"bytes of numbers; accepted: {most_bytes}"
                )
        limit_process(SPARE_BYTES + 2 * claimed, SPARE_SECONDS + claimed // BYTES_A_SECOND)
        values = [np.ascontiguousarray(item[...].T, dtype=np.float64) for _, item in found]
        out.write(json.dumps({"arrays": head}).encode() + b"\n")
        for each in values:
            out.write(each.data)


def main() -> None:
    """Read the file named on the command line."""
    end_with_parent()
    path = Path(sys.argv[1])
    limit_process(SPARE_BYTES, SPARE_SECONDS + path.stat().st_size // BYTES_A_SECOND)
    try:
        send(path, int(sys.argv[2]), sys.stdout.buffer)
    except Exception as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        sys.stdout.buffer.write(json.dumps({"error": reason}).encode() + b"\n")


if __name__ == "__main__":
    main()
