"""The times of a file's samples: read as they stand, mended only where that is certain."""

from __future__ import annotations

from itertools import chain

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.formats.request import Request, Table
from twinangle.signals.recording import Array

# Where a counter of samples, or a clock in seconds, starts again from zero.
COUNTER_SPANS = tuple(
    sorted(chain((2.0**bits for bits in range(7, 33)), (10.0**digits for digits in range(2, 10))))
)
CLOCK_SPANS = (60.0, 2**16 / 1000, 3600.0, 2**32 / 1e6, 86400.0, 2**32 / 1000)
MOST_STEPS = 10  # a wrap is certain when the step across it is no longer than so many usual ones


def read_clock(
    stamps: Array | None,
    values: Array,
    table: Table,
    request: Request,
    ticks_a_second: float = 1.0,
) -> tuple[Array, NDArray[np.bool_], tuple[str, ...]]:
    """Return the times in seconds, the samples to keep, and notes on what was mended.

    The column of times counts `ticks_a_second`; messages show it as it stands in the file.

    A row that repeats the row before, time and every value, is one sample stored twice: the
    second is left out. A counter that starts again from zero at a power of two or of ten, or a
    clock in seconds that does so at a minute, an hour, a day, or where a 16-bit or 32-bit count
    of milliseconds or a 32-bit count of microseconds ends, is continued.

    Raises
    ------
    RecordingError
        No clock at all; a missing time; time that stands still or goes back otherwise.
    """
    keep = np.ones(len(values), dtype=bool)
    if stamps is None:
        return _even_times(len(values), table, request), keep, ()
    _require_stamps(stamps, table, request)
    keep = ~_stored_twice(stamps, values)
    notes: list[str] = []
    if not keep.all():
        first = table.row_of(int(np.flatnonzero(~keep)[0]))
        notes.append(f"{int((~keep).sum())} row(s) stored twice left out, the first at {first}")
    rows = np.flatnonzero(keep)
    spans = COUNTER_SPANS if request.rate_hz else tuple(s * ticks_a_second for s in CLOCK_SPANS)
    steady, wraps = _continued(stamps[rows], spans)
    if wraps:
        notes.append(f"{request.time!r} starts again from zero {wraps} time(s) and was continued")
    _require_increasing(steady, rows, table, request)
    if request.rate_hz:  # a counter: its zero means nothing, so the first sample is at 0 s
        _require_counter(steady, request)
        return (steady - steady[0]) / request.rate_hz, keep, tuple(notes)
    if ticks_a_second != 1:
        steady = steady / ticks_a_second
    return steady, keep, tuple(notes)


def _even_times(n_samples: int, table: Table, request: Request) -> Array:
    rate_hz = request.rate_hz or table.rate_hz
    if rate_hz is None:
        raise RecordingError(
            f"{request.source}: there is no telling its times; name its time column with "
            "`time`, or give `rate_hz`."
        )
    start_s = 0.0 if request.rate_hz else table.start_s
    return start_s + np.arange(n_samples, dtype=np.float64) / rate_hz


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


def _continued(stamps: Array, spans: tuple[float, ...]) -> tuple[Array, int]:
    """Continue a clock over its wraps; as it stands, with 0, where they are not certain."""
    steps = np.diff(stamps)
    back = np.flatnonzero(steps < 0)
    forward = steps[steps > 0]
    if not back.size or not forward.size or stamps.min() < 0:
        return stamps, 0
    usual = float(np.median(forward))
    span = next((each for each in spans if each > stamps.max()), None)
    if span is None or (steps[back] + span > MOST_STEPS * usual).any():
        return stamps, 0
    turns = np.zeros(stamps.size)
    turns[back + 1] = span
    return stamps + np.cumsum(turns), int(back.size)


def _require_counter(stamps: Array, request: Request) -> None:
    """Refuse times in the place of a counter of samples, whose steps are whole numbers."""
    steps = np.diff(stamps)
    if not steps.size or np.isclose(steps, np.round(steps), rtol=0, atol=1e-6).all():
        return
    raise RecordingError(
        f"{request.source}: the column {request.time!r} steps by {np.median(steps):.6g}, so it "
        "holds times and counts no samples, as a column beside `rate_hz` has to. Leave `rate_hz` "
        "out: the times say the rate; or leave `time` out: rows are then taken at that rate."
    )


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
    reset = stamps[min(at + 2, stamps.size - 1)] <= before
    hint = (
        " The clock was set back there, and the file does not say by how much: split the "
        "recording at that row, or correct the times."
        if reset
        else " The rows after it go on from the row before it: this row alone is out of order."
    )
    raise RecordingError(
        f"{where}: time goes back from {before:.12g} to {after:.12g} ({bad.size} such row(s)); "
        f"accepted: times that increase from row to row.{hint}"
    )
