"""What every importer shares: the checks on what a file gave.

An importer turns one file into a `Table`; the checks of names, numbers and times are made here,
so that every format answers to the same rules with the same words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from twinangle.checks import LARGEST
from twinangle.errors import RecordingError
from twinangle.formats.request import Request, Table
from twinangle.formats.sample_times import read_clock
from twinangle.formats.time_units import time_unit
from twinangle.naming import listed, nearest_first
from twinangle.notices import reworded
from twinangle.signals.recording import Array, Recording

UNPACKED_TIMES = 100  # of a recording's noise little can be packed: a tenth to a half, mostly
UNPACKED_BYTES = 1 << 28  # what any file may come to; 256 MiB are 4 hours of 20 channels at 100 Hz


def most_unpacked(path: Path) -> int:
    """Return how many bytes the numbers of a packed file may come to, as float64."""
    return max(UNPACKED_BYTES, UNPACKED_TIMES * path.stat().st_size)


def refuse_unpacked(n_bytes: int, path: Path) -> None:
    """Refuse a file that would fill the memory with numbers it does not really hold.

    Raises
    ------
    ValueError
        The end of a sentence on the file.
    """
    most = most_unpacked(path)
    if n_bytes > most:
        raise ValueError(
            f"its {path.stat().st_size} bytes claim to unpack to {n_bytes} bytes of numbers; "
            f"accepted: {most}, the larger of 256 MiB and {UNPACKED_TIMES} times its size"
        )


def choose_columns(request: Request, available: Sequence[str]) -> list[str]:
    """Return the columns to read, the time column among them.

    Raises
    ------
    RecordingError
        If a column is absent (what is there is listed, the nearest name first) or ambiguous.
    """
    wanted = list(available if request.columns is None else dict.fromkeys(request.columns))
    if request.time is not None and request.time not in wanted:
        wanted.append(request.time)
    for name in wanted:
        count = list(available).count(name)
        if count == 0:
            found = listed(nearest_first(name, [each for each in available if each]))
            raise RecordingError(f"{request.source}: has no column {name!r}; it holds {found}.")
        if count > 1 and request.columns is not None:
            raise RecordingError(
                f"{request.source}: has {count} columns named {name!r}; each name must occur once."
            )
    return wanted


def to_recording(table: Table, request: Request) -> Recording:
    """Check the times and return the recording.

    Raises
    ------
    RecordingError
        Fewer than two samples; an infinite value; a missing time; time that stands still or goes
        back; no clock at all.
    """
    if request.time is None and request.rate_hz is None and table.time is not None:
        request = replace(request, time=table.time)
    names = [name for name in table.columns if name != request.time]
    values = _take(table.values, [table.columns.index(name) for name in names])
    stamps = None
    if request.time is not None:
        stamps = table.values[:, table.columns.index(request.time)]
    values, stamps, notes = _without_empty_end(values, stamps)
    _require_enough(values, request)
    _require_sane(values, names, table, request)
    if stamps is not None:
        _require_sane(stamps[:, np.newaxis], [str(request.time)], table, request)
    ticks_a_second = 1.0 if stamps is None or request.rate_hz else time_unit(table, request)
    time_s, keep, more = read_clock(stamps, values, table, request, ticks_a_second)
    units = {**table.units, **request.units}
    return Recording(
        time_s=time_s,
        values=values if keep.all() else values[keep],
        channels=tuple(names),
        units=tuple(units.get(name, "") for name in names),
        source=request.source,
        notes=tuple(
            reworded(each, f"{request.source}: {each}") for each in (*table.notes, *notes, *more)
        ),
    )


def _take(values: Array, places: list[int]) -> Array:
    """Return some columns; the first ones without a copy, as a day's recording fills gigabytes."""
    if places == list(range(len(places))):
        return values[:, : len(places)]
    return values[:, places]


def _without_empty_end(
    values: Array, stamps: Array | None
) -> tuple[Array, Array | None, tuple[str, ...]]:
    """Drop rows at the end that hold nothing at all, as spreadsheets leave them behind."""
    if not values.size:
        return values, stamps, ()
    n_rows = len(values)
    end = n_rows
    while end and np.isnan(values[end - 1]).all() and (stamps is None or np.isnan(stamps[end - 1])):
        end -= 1
    if end in (0, n_rows):
        return values, stamps, ()
    note = f"{n_rows - end} empty row(s) at the end left out"
    return values[:end], None if stamps is None else stamps[:end], (note,)


def _require_enough(values: Array, request: Request) -> None:
    if len(values) < 2:
        raise RecordingError(
            f"{request.source}: holds {len(values)} sample(s); at least 2 are needed."
        )


def _require_sane(values: Array, names: Sequence[str], table: Table, request: Request) -> None:
    """Refuse infinite and absurd values: unlike a gap they cannot be left out of a computation."""
    absurd = values > LARGEST
    absurd |= values < -LARGEST
    if absurd.any():
        sample, column = (int(i) for i in np.argwhere(absurd)[0])
        value = float(values[sample, column])
        what = "infinite" if np.isinf(value) else f"{value:g}, beyond ±{LARGEST:g}"
        raise RecordingError(
            f"{request.source}, {table.row_of(sample)}, column {names[column]!r}: is {what}; "
            "accepted: a number, or an empty cell for a gap."
        )
