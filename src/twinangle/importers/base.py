"""What every importer shares: what is asked of a file, and the checks on what it gave.

An importer turns one file into a `Table`; the checks of names, numbers and times are made here,
so that every format answers to the same rules with the same words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.naming import listed, nearest_first
from twinangle.recording import Array, Recording


@dataclass(frozen=True, slots=True)
class Request:
    """What is wanted from a file.

    `columns` None asks for every column of numbers. `time` names the column of times in seconds;
    with `rate_hz` as well it counts samples at that rate, the first at 0 s; with `rate_hz` alone
    the samples follow each other from 0 s without a break.
    """

    columns: tuple[str, ...] | None
    time: str | None
    rate_hz: float | None
    units: Mapping[str, str]
    source: str  # the file as the user named it


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """What an importer found: the requested columns as numbers, before any check of the times.

    `row_of` names the place of sample k as the user sees it in the file ("row 17"). `rate_hz` and
    `start_s` hold what the file itself says of its clock.
    """

    columns: tuple[str, ...]
    values: Array  # (n, n_columns), NaN where missing
    units: Mapping[str, str]
    row_of: Callable[[int], str]
    rate_hz: float | None = None
    start_s: float = 0.0
    notes: tuple[str, ...] = field(default=())


Reader = Callable[[Path, Request], Table]


@dataclass(frozen=True, slots=True)
class Format:
    """One file format: its name, the suffixes it goes by, and what reads it."""

    name: str
    suffixes: tuple[str, ...]
    read: Reader


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
    names = [name for name in table.columns if name != request.time]
    values = table.values[:, [table.columns.index(name) for name in names]]
    stamps = None
    if request.time is not None:
        stamps = table.values[:, table.columns.index(request.time)]
    values, stamps, notes = _without_empty_end(values, stamps)
    _require_enough(values, request)
    _require_finite(values, names, table, request)
    time_s, keep, more = _clock(stamps, values, table, request)
    units = {**table.units, **request.units}
    return Recording(
        time_s=time_s,
        values=values if keep.all() else values[keep],
        channels=tuple(names),
        units=tuple(units.get(name, "") for name in names),
        source=request.source,
        notes=(*table.notes, *notes, *more),
    )


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


def _require_finite(values: Array, names: Sequence[str], table: Table, request: Request) -> None:
    """Refuse infinite values: unlike a gap they cannot be left out of a computation."""
    infinite = np.isinf(values)
    if infinite.any():
        sample, column = (int(i) for i in np.argwhere(infinite)[0])
        raise RecordingError(
            f"{request.source}, {table.row_of(sample)}, column {names[column]!r}: is infinite; "
            "accepted: a number, or an empty cell for a gap."
        )


def _clock(
    stamps: Array | None, values: Array, table: Table, request: Request
) -> tuple[Array, NDArray[np.bool_], tuple[str, ...]]:
    """Return the times in seconds, the samples to keep, and notes."""
    keep = np.ones(len(values), dtype=bool)
    if stamps is None:
        rate = request.rate_hz or table.rate_hz
        if rate is None:
            raise RecordingError(
                f"{request.source}: there is no telling its times; name its time column with "
                "`time`, or give `rate_hz`."
            )
        start = 0.0 if request.rate_hz else table.start_s
        return start + np.arange(len(values)) / rate, keep, ()
    _require_stamps(stamps, table, request)
    keep = ~_stored_twice(stamps, values)
    notes: tuple[str, ...] = ()
    if not keep.all():
        first = table.row_of(int(np.flatnonzero(~keep)[0]))
        notes = (f"{int((~keep).sum())} row(s) stored twice left out, the first at {first}",)
    rows = np.flatnonzero(keep)
    _require_increasing(stamps[rows], rows, table, request)
    if request.rate_hz:  # a counter: its zero means nothing, so the first sample is at 0 s
        return (stamps[rows] - stamps[rows[0]]) / request.rate_hz, keep, notes
    return stamps[rows], keep, notes


def _require_stamps(stamps: Array, table: Table, request: Request) -> None:
    bad = np.flatnonzero(~np.isfinite(stamps))
    if bad.size:
        raise RecordingError(
            f"{request.source}, {table.row_of(int(bad[0]))}, column {request.time!r}: holds no "
            f"time ({bad.size} such row(s)); every row needs its time."
        )


def _stored_twice(stamps: Array, values: Array) -> NDArray[np.bool_]:
    """Return the rows that repeat the row before, time and every value: one sample, not two."""
    twice = np.zeros(len(stamps), dtype=bool)
    same = np.flatnonzero(np.diff(stamps) == 0)
    before, after = values[same], values[same + 1]
    twice[same + 1] = ((before == after) | (np.isnan(before) & np.isnan(after))).all(axis=1)
    return twice


def _require_increasing(
    stamps: Array, rows: NDArray[np.intp], table: Table, request: Request
) -> None:
    """Refuse time that stands still or goes back, with the first row where it does."""
    bad = np.flatnonzero(np.diff(stamps) <= 0)
    if not bad.size:
        return
    at = int(bad[0])
    before, after = stamps[at], stamps[at + 1]
    where = f"{request.source}, {table.row_of(int(rows[at + 1]))}, column {request.time!r}"
    if before == after:
        raise RecordingError(
            f"{where}: the time {after:.12g} is the same as in the row before, with other values "
            f"({bad.size} such row(s)); every sample needs a time of its own."
        )
    raise RecordingError(
        f"{where}: time goes back from {before:.12g} to {after:.12g} ({bad.size} such row(s)); "
        "accepted: times that increase from row to row."
    )


def with_units(table: Table, units: Mapping[str, str]) -> Table:
    """Return the table with further units that the file declares."""
    return replace(table, units={**table.units, **units})
