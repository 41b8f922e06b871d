"""What a recording holds, in plain rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from twinangle.checks import LARGEST
from twinangle.formats.request import Event, Table
from twinangle.formats.time_units import (
    SPELT,
    TICKS_A_SECOND,
    strange_rate,
    unit_called,
    unit_in_name,
)
from twinangle.naming import listed, shown
from twinangle.signals.recording import Array

TIME_NAME = re.compile(
    r"(time|times|t|time[_ .-]?stamps?|stamps?|clock|elapsed([_ .-]?time)?|sec|seconds"
    r"|zeit(stempel)?|temps|tiempo|tempo|tijd)"
    r"([_ (\[.-]*(m|u|µ|μ)?(s|sec|seconds|millis|milliseconds)[)\]]?)?"
    r"|" + "|".join(word for spelt in SPELT.values() for word in spelt),
    re.IGNORECASE,
)
N_FIRST_ROWS = 3
MOST_SHOWN = 8  # columns of the first rows, and kinds of event, on a terminal


@dataclass(frozen=True, slots=True)
class ChannelDescription:
    """One channel: its unit as far as the file declares it, what is missing, and its range.

    `role` is what the file says of it beyond the name (body part, instrument, axis); `rate_hz`
    its sampling rate where the file has several, else None.
    """

    name: str
    unit: str
    n_missing: int
    minimum: float
    maximum: float
    role: str = ""
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class FileDescription:
    """What a file of signals holds.

    `time` names the column that reads as times (by its name, and because it increases); None
    where there is none. Rate, duration and gaps are NaN or empty where the times do not tell.
    A file with channels at several rates has the others' channels after those of its first rate,
    which everything else is about. `start_s` is the first sample's time by the file's own clock.
    """

    path: str
    format: str
    n_samples: int
    time: str | None
    rate_hz: float
    duration_s: float
    gaps_s: tuple[tuple[float, float], ...]  # time before the gap, and its length
    channels: tuple[ChannelDescription, ...]
    first_rows: tuple[tuple[float, ...], ...]
    notes: tuple[str, ...]
    start_s: float = 0.0
    n_empty: int = 0  # rows in which no channel but the time holds a value
    began: datetime | None = None  # by the file's header
    events: tuple[Event, ...] = ()
    time_unit: str = ""  # what a study file has to state; "?" where it must be asked
    rising: tuple[str, ...] = ()  # columns that increase throughout, where none is called a time

    def __str__(self) -> str:
        """Return the description as plain rows for a terminal."""
        return "\n".join(
            [
                *self._overview_rows(),
                *(f"note      {note}" for note in self.notes),
                "",
                *self._channel_rows(),
                *self._event_rows(),
                "",
                *self._first_rows(),
            ]
        )

    def _overview_rows(self) -> list[str]:
        """Return what the file is, and its clock."""
        own = np.isfinite(self.rate_hz)
        without = "its own clock, no column" if own else self._without_times()
        rows = [
            f"file      {self.path}",
            f"format    {self.format}",
            f"samples   {self.n_samples}",
            f"time      {self.time or without}",
        ]
        if self.began is not None:
            rows.append(f"began     {self.began.isoformat(sep=' ')}")
        if self.start_s:
            rows.append(f"start     {self.start_s:.6g} s")
        if own:
            rows.append(f"rate      {self.rate_hz:.6g} Hz")
            rows.append(f"duration  {self.duration_s:.6g} s")
            longest = max((length for _, length in self.gaps_s), default=0.0)
            gaps = f"{len(self.gaps_s)}, the longest {longest:.3g} s" if self.gaps_s else "none"
            rows.append(f"gaps      {gaps}")
        if self.n_empty:
            rows.append(f"empty     {self.n_empty} row(s) in which no channel holds a value")
        return rows

    def _channel_rows(self) -> list[str]:
        """Return the table of the channels; their rates only where there are several."""
        several = any(channel.rate_hz is not None for channel in self.channels)
        width = max(7, *(len(channel.name) for channel in self.channels))
        heads = f"{'minimum':>12} {'maximum':>12} {'missing':>8}"
        rows = [f"{'channel':<{width}}  {'unit':<8} {heads}" + "       Hz" * several]
        for channel in self.channels:
            row = (
                f"{channel.name:<{width}}  {channel.unit or '-':<8} {channel.minimum:>12.6g} "
                f"{channel.maximum:>12.6g} {channel.n_missing:>8}"
            )
            rows.append(row + (f" {channel.rate_hz or self.rate_hz:>8.6g}" if several else ""))
        return rows

    def _without_times(self) -> str:
        """Say that no name is one of times, and which columns might be all the same."""
        said = "no column of times found by its name"
        if not self.rising:
            return said
        verb = "increases" if len(self.rising) == 1 else "increase"
        return f"{said}; {listed(self.rising)} {verb} throughout, as times or counts do"

    def _event_rows(self) -> list[str]:
        """Return the events by their labels, with number, first and last time."""
        if not self.events:
            return []
        times: dict[str, list[float]] = {}
        for event in self.events:
            times.setdefault(event.label, []).append(event.time_s)
        first = list(times.items())[:MOST_SHOWN]
        rows = [
            f"{label or '-'}: {len(each)}, {min(each):.6g} to {max(each):.6g} s"
            for label, each in first
        ]
        left = len(times) - len(first)
        return ["", "events", *rows, *([f"and {left} more kind(s)"] if left else [])]

    def _first_rows(self) -> list[str]:
        """Return the first rows, as many columns as a terminal holds."""
        more = "  …" if any(len(row) > MOST_SHOWN for row in self.first_rows) else ""
        return [
            "first rows",
            *(
                "  ".join(f"{value:.6g}" for value in row[:MOST_SHOWN]) + more
                for row in self.first_rows
            ),
        ]


def describe_table(
    path: Path, format_name: str, table: Table, events: Sequence[Event] = ()
) -> FileDescription:
    """Describe what an importer found, without a word from the study file."""
    time = _time_column(table)
    stamps = None if time is None else table.values[:, table.columns.index(time)]
    time_unit = ""
    if stamps is not None and time is not None:
        declared, named = unit_called(table.units.get(time, "")), unit_in_name(time)
        stamps = stamps / TICKS_A_SECOND[declared or named or "s"]
        time_unit = named if named in ("ms", "us") and declared is None else ""
    rate_hz, duration_s, gaps_s = _timing(stamps, table)
    odd = strange_rate(rate_hz) if stamps is not None and np.isfinite(rate_hz) else ""
    others = [each for more in table.also for each in _describe_channels(more, more.rate_hz)]
    return FileDescription(
        path=str(path),
        format=format_name,
        n_samples=len(table.values),
        time=time,
        rate_hz=rate_hz,
        duration_s=duration_s,
        gaps_s=gaps_s,
        channels=(*_describe_channels(table, None), *others),
        first_rows=tuple(
            tuple(float(value) for value in row) for row in table.values[:N_FIRST_ROWS]
        ),
        notes=(*table.notes, *([odd] if odd else []), *_absurd_notes(table)),
        start_s=table.start_s if stamps is None or not stamps.size else float(stamps[0]),
        n_empty=_n_empty(table, time),
        began=table.began,
        events=tuple(events),
        time_unit="?" if odd else time_unit,
        rising=() if time is not None else _rising(table),
    )


def _absurd_notes(table: Table) -> list[str]:
    """Point at values that no instrument measures, and that no recording is read with."""
    notes = []
    for column, name in enumerate(table.columns):
        values = table.values[:, column]
        beyond = np.flatnonzero(np.abs(values) > LARGEST)
        if beyond.size:
            first = int(beyond[0])
            notes.append(
                f"{table.row_of(first)}, column {shown(name)}: {values[first]:g} is no value "
                f"(beyond ±{LARGEST:g}; {beyond.size} such cell(s)); empty the cell"
            )
    return notes


def _n_empty(table: Table, time: str | None) -> int:
    """Return how many rows hold nothing but perhaps their time."""
    empty = np.ones(len(table.values), dtype=bool)
    for column, name in enumerate(table.columns):
        if name != time:
            empty &= np.isnan(table.values[:, column])
    return int(empty.sum()) if len(table.columns) > (time is not None) else 0


def _describe_channels(table: Table, rate_hz: float | None) -> list[ChannelDescription]:
    """Describe every column; of channels at another rate, all but their times."""
    return [
        _describe_channel(
            name,
            table.units.get(name, ""),
            table.values[:, column],
            table.roles.get(name, ""),
            rate_hz,
        )
        for column, name in enumerate(table.columns)
        if rate_hz is None or name != table.time
    ]


def _describe_channel(
    name: str, unit: str, values: Array, role: str, rate_hz: float | None
) -> ChannelDescription:
    present = values[np.abs(values) <= LARGEST]
    return ChannelDescription(
        name=name,
        unit=unit,
        n_missing=int(values.size - present.size),
        minimum=float(present.min()) if present.size else float("nan"),
        maximum=float(present.max()) if present.size else float("nan"),
        role=role,
        rate_hz=rate_hz,
    )


def _rising(table: Table) -> tuple[str, ...]:
    """Return the columns that increase throughout, where none is called a time."""
    steps = np.diff(table.values, axis=0)
    if not len(steps):
        return ()
    up = np.flatnonzero((steps > 0).all(axis=0))
    return tuple(table.columns[k] for k in up)


def _time_column(table: Table) -> str | None:
    """Return the first column that is called a time and increases throughout."""
    if table.time is not None:
        return table.time
    for column, name in enumerate(table.columns):
        stamps = table.values[:, column]
        own = name.rpartition(".")[2]  # of a struct's field or a table's
        if TIME_NAME.fullmatch(own or name) and stamps.size > 1 and (np.diff(stamps) > 0).all():
            return name
    return None


def _timing(
    stamps: Array | None, table: Table
) -> tuple[float, float, tuple[tuple[float, float], ...]]:
    """Return rate, duration and gaps, from the times or from what the file says of its rate."""
    if stamps is None:
        rate_hz = table.rate_hz or float("nan")
        return rate_hz, len(table.values) / rate_hz, ()
    if stamps.size < 2:
        return float("nan"), float("nan"), ()
    steps = np.diff(stamps)
    usual = steps < 1.5 * np.median(steps)
    period = float(steps[usual].mean())
    gaps = tuple((float(stamps[i]), float(steps[i])) for i in np.flatnonzero(~usual))
    return 1 / period, float(stamps[-1] - stamps[0]), gaps
