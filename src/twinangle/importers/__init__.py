"""Files of signals: one module a format, found by the file's suffix.

A new format is one new module with a `FORMAT`, and its name in `FORMATS`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError
from twinangle.importers import delimited
from twinangle.importers.base import to_recording
from twinangle.importers.description import FileDescription, describe_table
from twinangle.importers.table import Format, Reader, Request
from twinangle.recording import Array, Recording

FORMATS: tuple[Format, ...] = (delimited.FORMAT,)

__all__ = ["FORMATS", "FileDescription", "describe_file", "read_event_times", "read_recording"]


def read_recording(
    path: str | Path,
    *,
    columns: Sequence[str] | None = None,
    time: str | None = None,
    rate_hz: float | None = None,
    units: Mapping[str, str] | None = None,
    source: str | None = None,
) -> Recording:
    """Read channels of a file, on the file's own time stamps.

    Parameters
    ----------
    path : path
        The file; its suffix tells the format.
    columns : sequence of str, optional
        Channels to read; every one that holds numbers if None.
    time : str, optional
        The column of times, in seconds. Together with `rate_hz` it counts samples instead
        (a frame number, a counter): its steps are then ``1 / rate_hz`` seconds and
        the first sample is at 0 s.
    rate_hz : float, optional
        Sampling rate; without `time` the samples follow each other from 0 s.
    units : mapping of str to str, optional
        Units of channels, for those the file does not declare.
    source : str, optional
        How messages name the file; its path if None.

    Returns
    -------
    Recording
        Times strictly increasing, missing values NaN; `notes` tell what was mended.

    Raises
    ------
    RecordingError
        Missing, empty or unreadable file; an absent column; text where a number should be; time
        that is missing, stands still or goes back; fewer than two samples. The message names the
        file, the row and the column, what was found and what would be accepted.
    """
    path = Path(path)
    request = Request(
        columns=None if columns is None else tuple(columns),
        time=time,
        rate_hz=rate_hz,
        units=dict(units or {}),
        source=str(path) if source is None else source,
    )
    return to_recording(_reader_of(path, request.source)(path, request), request)


def read_event_times(path: str | Path, *, column: str = "time_s") -> Array:
    """Read a column of event times, in seconds, in increasing order.

    Raises
    ------
    RecordingError
        As :func:`read_recording`; also when a time is missing or not after the one before.
    """
    path = Path(path)
    request = Request((column,), column, None, {}, str(path))
    table = _reader_of(path, request.source)(path, request)
    times = table.values[:, table.columns.index(column)]
    bad = np.flatnonzero(~np.isfinite(times) | (np.diff(times, prepend=-np.inf) <= 0))
    if bad.size or not times.size:
        where = f", {table.row_of(int(bad[0]))}" if bad.size else ""
        raise RecordingError(
            f"{path}{where}, column {column!r}: holds no event time that comes after the one "
            "before; accepted: seconds, one a row, increasing."
        )
    return times


def describe_file(path: str | Path) -> FileDescription:
    """Describe what a file holds: channels, units, rate, duration, gaps, first rows.

    Raises
    ------
    RecordingError
        If the file is missing, empty or unreadable.
    """
    path = Path(path)
    request = Request(None, None, None, {}, str(path))
    reader = _reader_of(path, request.source)
    return describe_table(path, _format_of(path).name, reader(path, request))


def _format_of(path: Path) -> Format:
    return next(each for each in FORMATS if path.suffix.lower() in each.suffixes)


def _reader_of(path: Path, source: str) -> Reader:
    """Return what reads the file, by its suffix; refuse a file that is not there or is empty."""
    suffix = path.suffix.lower()
    known = [each for form in FORMATS for each in form.suffixes]
    if not path.exists():
        raise RecordingError(f"{source}: there is no such file.")
    if path.is_dir():
        raise RecordingError(f"{source}: is a folder; give a file.")
    if suffix not in known:
        raise RecordingError(
            f"{source}: files of type {suffix or 'without a suffix'!r} cannot be read; "
            f"accepted: {', '.join(known)}."
        )
    try:
        empty = path.stat().st_size == 0
        with path.open("rb"):
            pass
    except OSError as error:
        raise RecordingError(f"{source}: cannot be read: {error.strerror}.") from None
    if empty:
        raise RecordingError(f"{source}: is empty.")
    return _format_of(path).read
