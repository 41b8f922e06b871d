"""Files of signals: one module a format, found by the file's suffix.

A new format is one new module with a `FORMAT`, and its name in `FORMATS`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats import bids_motion, c3d, columnar, delimited, edf, hdf5, matlab, xlsx
from twinangle.formats.base import to_recording
from twinangle.formats.description import FileDescription, describe_table
from twinangle.formats.rate_groups import UnlikeRatesError
from twinangle.formats.request import Event, Format, Request
from twinangle.formats.stretches import Stretch, stretches
from twinangle.formats.time_units import refuse_strange_rate
from twinangle.naming import listed
from twinangle.signals.recording import Array, Recording

FORMATS: tuple[Format, ...] = (
    bids_motion.FORMAT,  # before delimited text: it goes by a longer ending of the name
    delimited.FORMAT,
    columnar.PARQUET,
    columnar.FEATHER,
    matlab.FORMAT,
    hdf5.FORMAT,
    c3d.FORMAT,
    edf.FORMAT,
    xlsx.FORMAT,
)

__all__ = [
    "FORMATS",
    "FileDescription",
    "UnlikeRatesError",
    "describe_file",
    "read_event_times",
    "read_recording",
    "read_stretches",
    "refuse_strange_rate",
]


def read_recording(
    path: str | Path,
    *,
    columns: Sequence[str] | None = None,
    time: str | None = None,
    rate_hz: float | None = None,
    units: Mapping[str, str] | None = None,
    source: str | None = None,
    time_unit: str | None = None,
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
    time_unit : {"s", "ms", "us"}, optional
        Unit of the column of times. None: what the file declares, or seconds.

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
        time_unit=time_unit,
    )
    return to_recording(_find_format(path, request.source).read(path, request), request)


def read_stretches(
    path: str | Path,
    *,
    columns: Sequence[str],
    seconds: float,
    overlap_s: float,
    first_s: float | None = None,
    first_end_s: float | None = None,
    time: str | None = None,
    rate_hz: float | None = None,
    source: str | None = None,
    time_unit: str | None = None,
) -> Iterator[Stretch]:
    """Read a long file stretch by stretch, in bounded memory.

    Parameters
    ----------
    path, columns, time, rate_hz, source, time_unit
        As :func:`read_recording` takes them.
    seconds, overlap_s, first_s, first_end_s
        As `twinangle.formats.stretches.stretches` takes them.

    Returns
    -------
    iterator of Stretch
        In order of time; read as it is asked for.

    Raises
    ------
    RecordingError
        As :func:`read_recording`; also where the format can only be read whole.
    """
    path = Path(path)
    named = str(path) if source is None else source
    request = Request(tuple(columns), time, rate_hz, {}, named, time_unit)
    yield from stretches(
        path,
        _find_format(path, named),
        request,
        seconds=seconds,
        overlap_s=overlap_s,
        first_s=first_s,
        first_end_s=first_end_s,
    )


def read_event_times(
    path: str | Path, *, column: str = "time_s", label: str | None = None
) -> Array:
    """Read event times, in seconds, in increasing order.

    Parameters
    ----------
    path : path
        A table, or a recording of a format that marks events (C3D, EDF).
    column : str
        The column of a table that holds the times.
    label : str, optional
        Which of a recording's events to take; needed where it has several kinds. A table's column
        holds one kind, so that it takes none.

    Returns
    -------
    ndarray, shape (n,)
        On the clock of the file.

    Raises
    ------
    RecordingError
        As :func:`read_recording`; also when a time is missing or not after the one before, and
        when a recording has no such event, or several kinds and none is named.
    """
    path = Path(path)
    request = Request((column,), column, None, {}, str(path))
    found = _find_format(path, request.source)
    if found.read_events is not None:
        return _times_of(found.read_events(path, request.source), label, request.source)
    table = found.read(path, request)
    times = table.values[:, table.columns.index(column)]
    bad = np.flatnonzero(~np.isfinite(times) | (np.diff(times, prepend=-np.inf) <= 0))
    if bad.size or not times.size:
        where = f", {table.row_of(int(bad[0]))}" if bad.size else ""
        raise RecordingError(
            f"{path}{where}, column {column!r}: holds no event time that comes after the one "
            "before; accepted: seconds, one a row, increasing."
        )
    return times


def _times_of(events: Sequence[Event], label: str | None, source: str) -> Array:
    """Return the times of one kind of event."""
    labels = list(dict.fromkeys(event.label for event in events))
    if label is None and len(labels) == 1:
        label = labels[0]
    if label not in labels:
        what = "marks no events" if not labels else f"marks the events {listed(labels)}"
        asked = "one kind must be named" if label is None else f"none is called {label!r}"
        raise RecordingError(f"{source}: {what}; {asked}.")
    times = np.array([event.time_s for event in events if event.label == label])
    twice = np.flatnonzero(np.diff(times) <= 0)
    if twice.size:
        raise RecordingError(
            f"{source}: marks {label!r} twice at {times[twice[0]]:.6g} s; each event needs a time "
            "of its own."
        )
    return times


def describe_file(path: str | Path) -> FileDescription:
    """Describe what a file holds: channels, units, rate, duration, gaps, first rows.

    Parameters
    ----------
    path : str or pathlib.Path
        Of any format that is known.

    Returns
    -------
    FileDescription

    Raises
    ------
    RecordingError
        If the file is missing, empty or unreadable.
    """
    path = Path(path)
    request = Request(None, None, None, {}, str(path))
    found = _find_format(path, request.source)
    events = found.read_events(path, request.source) if found.read_events else ()
    return describe_table(path, found.name, found.read(path, request), events)


def companion_files(path: str | Path) -> tuple[Path, ...]:
    """Return the other files that are read with a recording: the sidecars of Motion-BIDS."""
    path = Path(path)
    found = _format_of(path)
    return tuple(found.companions(path)) if found is not None and found.companions else ()


def _format_of(path: Path) -> Format | None:
    """Return the format that the end of the file's name tells."""
    name = path.name.lower()
    return next((each for each in FORMATS if name.endswith(each.suffixes)), None)


def _find_format(path: Path, source: str) -> Format:
    """Return the file's format; refuse a file that is not there, is empty or of another kind."""
    if not path.exists():
        raise RecordingError(f"{source}: there is no such file.")
    if path.is_dir():
        raise RecordingError(f"{source}: is a folder; give a file.")
    found = _format_of(path)
    if found is None:
        known = ", ".join(each for form in FORMATS for each in form.suffixes)
        raise RecordingError(
            f"{source}: files of type {path.suffix or 'without a suffix'!r} cannot be read; "
            f"accepted: {known}."
        )
    try:
        with path.open("rb") as stream:
            empty = not stream.read(1)
    except OSError as error:
        raise RecordingError(f"{source}: cannot be read: {error.strerror}.") from None
    if empty:
        raise RecordingError(f"{source}: is empty.")
    return found


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
