"""What a recording holds, in plain rows."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from twinangle.importers.table import Table
from twinangle.recording import Array

TIME_NAME = re.compile(r"(time|t|timestamp|sec|seconds)([_ (\[]*(s|sec|seconds)[)\]]?)?", re.I)
N_FIRST_ROWS = 3


@dataclass(frozen=True, slots=True)
class ChannelDescription:
    """One channel: its unit as far as the file declares it, what is missing, and its range.

    `role` is what the file says of it beyond the name (body part, instrument, axis).
    """

    name: str
    unit: str
    n_missing: int
    minimum: float
    maximum: float
    role: str = ""


@dataclass(frozen=True, slots=True)
class FileDescription:
    """What a file of signals holds.

    `time` names the column that reads as times (by its name, and because it increases); None
    where there is none. Rate, duration and gaps are NaN or empty where the times do not tell.
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

    def __str__(self) -> str:
        """Return the description as plain rows for a terminal."""
        rows = [
            f"file      {self.path}",
            f"format    {self.format}",
            f"samples   {self.n_samples}",
            f"time      {self.time or 'no column of times found'}",
        ]
        if np.isfinite(self.rate_hz):
            rows.append(f"rate      {self.rate_hz:.6g} Hz")
            rows.append(f"duration  {self.duration_s:.6g} s")
            longest = max((length for _, length in self.gaps_s), default=0.0)
            gaps = f"{len(self.gaps_s)}, the longest {longest:.3g} s" if self.gaps_s else "none"
            rows.append(f"gaps      {gaps}")
        rows += [f"note      {note}" for note in self.notes]
        width = max((len(channel.name) for channel in self.channels), default=7)
        rows.append("")
        rows.append(
            f"{'channel':<{width}}  {'unit':<8} {'minimum':>12} {'maximum':>12} {'missing':>8}"
        )
        rows += [
            f"{channel.name:<{width}}  {channel.unit or '-':<8} {channel.minimum:>12.6g} "
            f"{channel.maximum:>12.6g} {channel.n_missing:>8}"
            for channel in self.channels
        ]
        rows.append("")
        rows.append("first rows")
        rows += ["  ".join(f"{value:.6g}" for value in row) for row in self.first_rows]
        return "\n".join(rows)


def describe_table(path: Path, format_name: str, table: Table) -> FileDescription:
    """Describe what an importer found, without a word from the study file."""
    time = _time_column(table)
    stamps = None if time is None else table.values[:, table.columns.index(time)]
    rate_hz, duration_s, gaps_s = _timing(stamps, table)
    return FileDescription(
        path=str(path),
        format=format_name,
        n_samples=len(table.values),
        time=time,
        rate_hz=rate_hz,
        duration_s=duration_s,
        gaps_s=gaps_s,
        channels=tuple(
            _describe_channel(
                name,
                table.units.get(name, ""),
                table.values[:, column],
                table.roles.get(name, ""),
            )
            for column, name in enumerate(table.columns)
        ),
        first_rows=tuple(
            tuple(float(value) for value in row) for row in table.values[:N_FIRST_ROWS]
        ),
        notes=table.notes,
    )


def _describe_channel(name: str, unit: str, values: Array, role: str) -> ChannelDescription:
    present = values[np.isfinite(values)]
    return ChannelDescription(
        name=name,
        unit=unit,
        n_missing=int(values.size - present.size),
        minimum=float(present.min()) if present.size else float("nan"),
        maximum=float(present.max()) if present.size else float("nan"),
        role=role,
    )


def _time_column(table: Table) -> str | None:
    """Return the first column that is called a time and increases throughout."""
    if table.time is not None:
        return table.time
    for column, name in enumerate(table.columns):
        stamps = table.values[:, column]
        if TIME_NAME.fullmatch(name) and stamps.size > 1 and (np.diff(stamps) > 0).all():
            return name
    return None


def _timing(
    stamps: Array | None, table: Table
) -> tuple[float, float, tuple[tuple[float, float], ...]]:
    """Return rate, duration and gaps, from the times or from what the file says of its rate."""
    if stamps is None:
        rate_hz = table.rate_hz or float("nan")
        return rate_hz, len(table.values) / rate_hz, ()
    steps = np.diff(stamps)
    usual = steps < 1.5 * np.median(steps)
    period = float(steps[usual].mean())
    gaps = tuple((float(stamps[i]), float(steps[i])) for i in np.flatnonzero(~usual))
    return 1 / period, float(stamps[-1] - stamps[0]), gaps
