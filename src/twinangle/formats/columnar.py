"""Parquet and Feather: columns with their types, units in the fields' metadata."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.errors import RecordingError, closed
from twinangle.formats.base import choose_columns, refuse_unpacked
from twinangle.formats.request import Format, Request, Table
from twinangle.signals.recording import Array

if TYPE_CHECKING:
    import pyarrow as pa

# What a damaged file ends in: names that are not UTF-8 and absurd sizes among the rest.
UNREADABLE = (OSError, ValueError, MemoryError, OverflowError)
UNIT_KEYS = (b"unit", b"units")
BUFFER_BYTES = 2**18
"""Held of each column while rows are read in parts; without it a whole row group is, and with
reading ahead (`pre_buffer`, the library's default) every one up to the end of
the file."""


def read_parquet(path: Path, request: Request) -> Table:
    """Read the requested columns of a Parquet file."""
    import pyarrow as pa
    from pyarrow import parquet  # slow to import

    try:
        with parquet.ParquetFile(path) as file:
            schema = file.schema_arrow
            wanted = _choose(schema, request)
            refuse_unpacked(8 * len(wanted) * file.metadata.num_rows, path)
            return _table(file.read(columns=wanted), wanted, request)
    except (pa.ArrowException, *UNREADABLE) as error:
        raise _unreadable(request, "Parquet", error) from error


def read_parquet_parts(path: Path, request: Request, most_rows: int) -> Iterator[Table]:
    """Yield the requested columns of a Parquet file, so many rows at a time."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        with parquet.ParquetFile(path, buffer_size=BUFFER_BYTES, pre_buffer=False) as file:
            wanted = _choose(file.schema_arrow, request)
            row = 0
            for batch in file.iter_batches(most_rows, columns=wanted):
                part = _table(pa.Table.from_batches([batch]), wanted, request)
                yield replace(part, row_of=partial(_row, row))
                row += batch.num_rows
    except (pa.ArrowException, *UNREADABLE) as error:
        raise _unreadable(request, "Parquet", error) from error


def _row(before: int, sample: int) -> str:
    return f"row {before + sample + 1}"


def read_feather(path: Path, request: Request) -> Table:
    """Read the requested columns of a Feather (Arrow IPC) file."""
    import pyarrow as pa
    from pyarrow import ipc

    try:
        with pa.memory_map(str(path)) as source:
            file = ipc.open_file(source)
            wanted = _choose(file.schema, request)
            return _table(_all_batches(file, wanted, path), wanted, request)
    except (pa.ArrowException, *UNREADABLE) as error:
        raise _unreadable(request, "Feather", error) from error


def _all_batches(file: Any, wanted: list[str], path: Path) -> pa.Table:
    """Read batch after batch, and stop where they come to more than a file may hold."""
    import pyarrow as pa

    batches, n_rows = [], 0
    for number in range(file.num_record_batches):
        batches.append(file.get_batch(number))
        n_rows += batches[-1].num_rows
        refuse_unpacked(8 * len(wanted) * n_rows, path)
    return pa.Table.from_batches(batches, file.schema).select(wanted)


def _unreadable(request: Request, name: str, error: Exception) -> RecordingError:
    reason = str(error).splitlines()[0] if str(error) else type(error).__name__
    return RecordingError(f"{request.source}: is not a readable {name} file: {closed(reason)}")


def _is_number(kind: pa.DataType) -> bool:
    import pyarrow as pa

    return bool(
        pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)
    )


def _choose(schema: pa.Schema, request: Request) -> list[str]:
    """Return the columns to read; refuse declared ones that hold no numbers."""
    wanted = choose_columns(request, schema.names)
    kinds = dict(zip(schema.names, schema.types, strict=True))
    if request.columns is None:
        wanted = [name for name in wanted if _is_number(kinds[name]) or name == request.time]
    for name in wanted:
        if not _is_number(kinds[name]):
            raise RecordingError(
                f"{request.source}: column {name!r} holds {kinds[name]}; accepted: numbers "
                "(times in seconds)."
            )
    if not wanted:
        raise RecordingError(f"{request.source}: holds no column of numbers.")
    return wanted


def _table(columns: pa.Table, wanted: list[str], request: Request) -> Table:
    import pyarrow as pa

    values: Array = np.empty((columns.num_rows, len(wanted)))
    units = {}
    for place, name in enumerate(wanted):
        column = columns.column(name).cast(pa.float64())
        values[:, place] = column.to_numpy()
        metadata = columns.schema.field(name).metadata or {}
        unit = next((metadata[key] for key in UNIT_KEYS if key in metadata), b"")
        if unit:
            units[name] = unit.decode("utf-8", "replace")
    return Table(
        columns=tuple(wanted),
        values=values,
        units=units,
        row_of=lambda sample: f"row {sample + 1}",
    )


PARQUET = Format("Parquet", (".parquet", ".pq"), read_parquet, read_parts=read_parquet_parts)
FEATHER = Format("Feather", (".feather", ".arrow"), read_feather)
