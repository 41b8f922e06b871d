"""MATLAB files of versions 5 to 7.3: numeric arrays and structs of them, read as channels.

A vector is one channel of the variable's name; an (n, k) matrix is k channels `name_1` …
`name_k`; a field of a struct is `struct.field`. Objects and functions are never loaded.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError, closed
from twinangle.formats import mat5, mat73
from twinangle.formats.base import choose_columns, most_unpacked
from twinangle.formats.request import Format, Request, Table
from twinangle.signals.recording import Array

BEGINNING = 4096  # bytes, in which a 7.3 file shows what it is
TABLES = {"table": "writetable", "timetable": "writetimetable"}  # what writes them as text
MOST_TOLD = 3
MOST_CHANNELS = 64  # columns of one matrix; more is an image or a transposed recording


def read(path: Path, request: Request) -> Table:
    """Read the requested channels of a MATLAB file."""
    with path.open("rb") as stream:
        beginning = stream.read(BEGINNING)
    objects: dict[str, str] = {}
    try:
        if mat73.is_mat73(beginning):
            found = mat73.read_arrays(path, most_unpacked(path))
            arrays, objects = found.arrays, found.objects
        else:
            arrays = mat5.read_arrays(path.read_bytes(), most_unpacked(path), objects)
    except (ValueError, MemoryError) as error:
        raise RecordingError(
            f"{request.source}: is not a readable MATLAB file: {closed(error)}"
        ) from error
    told = _of_tables(objects)
    try:
        return table_of(arrays, {}, request, told)
    except RecordingError as error:
        raise RecordingError(" ".join([str(error), *told])) from error


def _of_tables(objects: Mapping[str, str]) -> list[str]:
    """Return a sentence on the tables among a file's objects, and how to save them otherwise."""
    tables = {name: kind for name, kind in objects.items() if kind in TABLES}
    return [
        f"{name!r} is a MATLAB {kind}, which cannot be read. In MATLAB, save it as text: "
        f"{TABLES[kind]}({name}, '{name}.csv'); or as columns: "
        f"S = table2struct({name if kind == 'table' else f'timetable2table({name})'}, "
        f"'ToScalar', true); save('{name}.mat', '-struct', 'S')."
        for name, kind in list(tables.items())[:MOST_TOLD]
    ]


def table_of(
    arrays: Mapping[str, Array],
    units: Mapping[str, str],
    request: Request,
    notes: Sequence[str] = (),
) -> Table:
    """Return the requested channels of a file's arrays.

    Raises
    ------
    RecordingError
        If there is none, or one is not there.
    """
    channels = dict(_channels(arrays))
    length = _usual_length(channels, request)
    usable = {name: values for name, values in channels.items() if values.size == length}
    wanted = choose_columns(request, list(usable))
    values: Array = np.column_stack([usable[name] for name in wanted])
    left_out = len(channels) - len(usable)
    return Table(
        columns=tuple(wanted),
        values=values,
        units={name: units[name] for name in wanted if name in units},
        row_of=lambda sample: f"sample {sample + 1}",
        notes=(*([f"{left_out} array(s) of other lengths left out"] if left_out else []), *notes),
    )


def _channels(arrays: Mapping[str, Array]) -> Iterator[tuple[str, Array]]:
    """Yield the channels of all vectors and matrices; single numbers are none."""
    for name, values in arrays.items():
        if values.ndim == 2 and values.size > 1:
            yield from _columns(name, values)


def _columns(name: str, values: Array) -> Iterator[tuple[str, Array]]:
    if 1 in values.shape:
        yield name, values.ravel()
        return
    if values.shape[1] > MOST_CHANNELS >= values.shape[0]:
        values = values.T
    for column in range(values.shape[1]):
        yield f"{name}_{column + 1}", values[:, column]


def _usual_length(channels: Mapping[str, Array], request: Request) -> int:
    """Return the length that most of the wanted channels have."""
    names = [name for name in channels if request.columns is None or name in request.columns]
    lengths = Counter(channels[name].size for name in names or channels)
    if not lengths:
        raise RecordingError(
            f"{request.source}: holds no numeric array; accepted: vectors, matrices of one "
            "channel a column, and structs of them."
        )
    return max(lengths, key=lambda length: (lengths[length], length))


FORMAT = Format("MATLAB", (".mat",), read)
