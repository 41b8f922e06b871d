"""A long file read stretch by stretch, each overlapping its neighbours: one is held at a time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats.base import to_recording
from twinangle.formats.request import Format, Request, Table
from twinangle.formats.time_units import time_unit
from twinangle.signals.recording import Array, Interval, Recording

ROWS_A_PART = 65_536
_HEAD_BYTES = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of a recording with what overlaps its neighbours.

    Attributes
    ----------
    recording : Recording
        The samples, on the recording's own clock.
    core : Interval
        The part that no other stretch has; what is found in it counts, once. The first begins at
        minus infinity and the last ends at infinity.
    number : int
        From 0; a stretch without samples has its number too, and is left out.
    """

    recording: Recording
    core: Interval
    number: int


def stretches(
    path: Path,
    found: Format,
    request: Request,
    *,
    seconds: float,
    overlap_s: float,
    first_s: float | None = None,
    first_end_s: float | None = None,
) -> Iterator[Stretch]:
    """Read a file stretch by stretch.

    Parameters
    ----------
    path : Path
        The file.
    found : Format
        Its format, which must have `read_parts`.
    request : Request
        The columns; times in a column, or a rate alone.
    seconds : float
        How long the core of each stretch is.
    overlap_s : float
        How much is added on each side.
    first_s : float, optional
        How long the core of the first is, where it is another length.
    first_end_s : float, optional
        When the core of the first ends on the file's clock, in place of `first_s`.

    Yields
    ------
    Stretch
        In order; their cores cover the recording without a gap. One that holds fewer than two
        samples, within a break of the recording, is left out.

    Raises
    ------
    RecordingError
        As :func:`twinangle.formats.read_recording`; also where the format cannot be read in parts,
        where a column counts samples, and where time goes back, as at a clock that starts again.
    """
    _require_parts(found, request)
    held: _Held | None = None
    begin, end, number = -math.inf, math.nan, 0
    for part in _timed(path, found, request):
        if held is None:
            held = _Held(part.table, part.time_s)
            after_s = seconds if first_s is None else first_s
            end = float(part.time_s[0]) + after_s if first_end_s is None else first_end_s
        else:
            held = held.and_then(part, request)
        while held.time_s[-1] >= end + overlap_s:
            yield from held.stretch(Interval(begin, end), number, overlap_s, request)
            held = held.without(end - overlap_s)
            begin, end, number = end, end + seconds, number + 1
    if held is None:
        raise RecordingError(f"{request.source}: holds no samples.")
    yield from held.stretch(Interval(begin, math.inf), number, overlap_s, request)


def about_rows(path: Path) -> float:
    """Return about how many rows a file holds: of text by its size and the length of its first.

    NaN where that cannot be told.
    """
    try:
        if path.suffix.lower() == ".parquet":
            import pyarrow.parquet

            return float(pyarrow.parquet.read_metadata(path).num_rows)
        with path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
            lines = head[: head.rfind(b"\n") + 1]
            return path.stat().st_size / len(lines) * lines.count(b"\n") if lines else math.nan
    except (OSError, ValueError):
        return math.nan


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    table: Table
    time_s: Array


def _timed(path: Path, found: Format, request: Request) -> Iterator[_Part]:
    """Yield the parts of a file with their times in seconds."""
    if found.read_parts is None:
        raise _whole_only(found, request)
    row = 0
    for table in found.read_parts(path, request, ROWS_A_PART):
        n_rows = len(table.values)
        if request.time is None:
            rate_hz = request.rate_hz or table.rate_hz or math.nan
            time_s = (row + np.arange(n_rows, dtype=np.float64)) / rate_hz
        else:
            stamps = table.values[:, table.columns.index(request.time)]
            time_s = stamps / time_unit(table, request)
        row += n_rows
        if n_rows:
            yield _Part(table, time_s)


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """The rows in memory, as one table, and their times."""

    table: Table
    time_s: Array
    before: int = 0  # rows of the file before the first one held

    def and_then(self, part: _Part, request: Request) -> _Held:
        if not part.time_s[0] >= self.time_s[-1]:
            raise RecordingError(
                f"{request.source}, {part.table.row_of(0)}, column {request.time!r}: time goes "
                f"back from {self.time_s[-1]:.12g} s to {part.time_s[0]:.12g} s. Accepted of a "
                "recording that is read in stretches: times that go on to its end."
            )
        table = replace(self.table, values=np.vstack((self.table.values, part.table.values)))
        return replace(self, table=table, time_s=np.concatenate((self.time_s, part.time_s)))

    def without(self, until_s: float) -> _Held:
        row = int(np.searchsorted(self.time_s, until_s))
        return _Held(
            replace(self.table, values=self.table.values[row:].copy()),
            self.time_s[row:].copy(),
            self.before + row,
        )

    def stretch(
        self, core: Interval, number: int, overlap_s: float, request: Request
    ) -> Iterator[Stretch]:
        rows = slice(
            int(np.searchsorted(self.time_s, core.start_s - overlap_s)),
            int(np.searchsorted(self.time_s, core.end_s + overlap_s)),
        )
        values = self.table.values[rows]
        if len(values) < 2:
            return
        row_of, before = self.table.row_of, self.before + rows.start
        table = replace(
            self.table,
            values=values,
            row_of=lambda sample: row_of(before + sample),
            notes=self.table.notes if number == 0 else (),
            rate_hz=request.rate_hz or self.table.rate_hz,
            start_s=float(self.time_s[rows.start]),
        )
        if request.time is None:  # counted from the beginning of the file, not of the stretch
            request = replace(request, rate_hz=None)
        yield Stretch(to_recording(table, request), core, number)


def _require_parts(found: Format, request: Request) -> None:
    if found.read_parts is None:
        raise _whole_only(found, request)
    if request.time is not None and request.rate_hz is not None:
        raise RecordingError(
            f"{request.source}: the column {request.time!r} counts samples beside `rate_hz`, which "
            "a recording that is read in stretches cannot have. Leave one of the two out."
        )


def _whole_only(found: Format, request: Request) -> RecordingError:
    return RecordingError(
        f"{request.source}: {found.name} can only be read whole. Accepted where recordings are "
        "read in stretches: delimited text and Parquet."
    )
