"""What is asked of a file, and what an importer gives back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from twinangle.signals.recording import Array


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
    time_unit: str | None = None  # of the column of times: "s", "ms" or "us"


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """What an importer found: the requested columns as numbers, before any check of the times.

    `row_of` names the place of sample k as the user sees it in the file ("row 17"). `rate_hz` and
    `start_s` hold what the file itself says of its clock; `time` names the column of times where
    the format has one of its own. `roles` holds what the file says of a channel beyond its name
    (the body part, the instrument, the axis).
    """

    columns: tuple[str, ...]
    values: Array  # (n, n_columns), NaN where missing
    units: Mapping[str, str]
    row_of: Callable[[int], str]
    rate_hz: float | None = None
    start_s: float = 0.0
    time: str | None = None
    notes: tuple[str, ...] = ()
    roles: Mapping[str, str] = field(default_factory=dict)
    began: datetime | None = None  # by the header's own date and time of day, for whoever looks
    also: tuple[Table, ...] = ()  # channels at other rates, where every channel was asked for


@dataclass(frozen=True, slots=True)
class Event:
    """A moment that the file marks, in seconds on the clock of its channels."""

    time_s: float
    label: str


Reader = Callable[[Path, Request], Table]
PartReader = Callable[[Path, Request, int], Iterator[Table]]  # at most so many rows a part
EventReader = Callable[[Path, str], tuple[Event, ...]]  # path, and how messages name it


@dataclass(frozen=True, slots=True)
class Format:
    """One file format: its name, the suffixes it goes by, and what reads it.

    `read_events` is None where the format has no events beside its channels, `companions` where
    a recording is one file; it returns the other files that are read with one. `read_parts` yields
    the rows part by part, in order; None where the file can only be read whole.
    """

    name: str
    suffixes: tuple[str, ...]
    read: Reader
    read_events: EventReader | None = None
    companions: Callable[[Path], list[Path]] | None = None
    read_parts: PartReader | None = None
