"""Files whose channels run at several rates: the declared channels tell which clock is read.

A file of this kind has groups of channels, each with one clock. A recording has one clock, so
its channels come from one group; names that a file gives twice are numbered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats.base import choose_columns
from twinangle.formats.request import Request, Table
from twinangle.naming import listed
from twinangle.signals.recording import Array

OWN_TIME = "time_s"  # the name by which a study may ask for the file's own clock
RATE_TOLERANCE = 1e-3


class UnlikeRatesError(RecordingError):
    """Channels asked for together that run at unlike rates in their file."""


@dataclass(frozen=True, slots=True)
class Group:
    """Channels of one file that share a clock, and how to read some of them.

    `load` takes places among `names` and returns their values, (n, n_places); `time_s` returns
    the times of the samples where the clock has breaks, and is None where it has not.
    """

    what: str  # for messages: "signal(s)"
    names: tuple[str, ...]
    units: Mapping[str, str]
    rate_hz: float
    n_samples: int
    load: Callable[[Sequence[int]], Array]
    row_of: Callable[[int], str]
    start_s: float = 0.0
    time_s: Callable[[], Array] | None = None


def numbered(labels: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return names that differ, and a hint where labels occur more than once.

    Every one of several equal labels is numbered in the order of the file, the first as well
    (``knee#1``, ``knee#2``), so that the bare name cannot mean either.
    """
    counts = Counter(labels)
    taken = set(labels)
    used: Counter[str] = Counter()
    names = []
    for label in labels:
        name = label
        while counts[label] > 1 and name in taken:
            used[label] += 1
            name = f"{label}#{used[label]}"
        taken.add(name)
        names.append(name)
    several = [label for label, count in counts.items() if count > 1]
    if not several:
        return tuple(names), ()
    example = " and ".join(repr(f"{several[0]}#{k}") for k in (1, 2))
    note = f"labels that occur more than once are numbered, as {example}: {listed(several)}"
    return tuple(names), (note,)


def read_groups(
    groups: Sequence[Group],
    request: Request,
    *,
    notes: Sequence[str] = (),
    hints: Sequence[str] = (),
) -> Table:
    """Read the requested channels of the one group that holds them; of the first, if none named.

    Hints on names are for whoever has still to name the channels: told where none is.

    Raises
    ------
    RecordingError
        A channel that no group has; channels of two groups; a declared rate that is not the file's.
    """
    every = [name for group in groups for name in group.names]
    channel_of_times = None if _asks_own_time(request, groups) else request.time
    if channel_of_times is not None and channel_of_times not in every:
        raise RecordingError(
            f"{request.source}: has no channel {request.time!r}; it carries its own clock: leave "
            f"`time` out, or ask for that clock as {OWN_TIME!r}."
        )
    if request.columns is None:
        ordered = sorted(groups, key=lambda group: channel_of_times not in (None, *group.names))
        first, *others = [_read(group, request, group.names) for group in ordered]
        more = [
            f"{len(group.names)} {group.what} at {group.rate_hz:.6g} Hz: read only when named"
            for group in ordered[1:]
        ]
        return replace(first, notes=(*notes, *hints, *more), also=tuple(others))
    wanted = list(request.columns)
    if channel_of_times is not None:
        wanted.append(channel_of_times)
    wanted = choose_columns(replace(request, columns=tuple(wanted), time=None), every)
    holders = [group for group in groups if set(wanted) & set(group.names)]
    if len(holders) > 1:
        parts = "; ".join(
            f"{listed([name for name in wanted if name in group.names], most=3)} at "
            f"{group.rate_hz:.6g} Hz"
            for group in holders
        )
        raise UnlikeRatesError(
            f"{request.source}: the declared channels run at unlike rates ({parts}); accepted: "
            "channels of one rate."
        )
    group = holders[0] if holders else groups[0]
    return replace(_read(group, request, wanted), notes=tuple(notes))


def _asks_own_time(request: Request, groups: Sequence[Group]) -> bool:
    """Tell whether the request's time is the file's own clock, not one of its channels."""
    return request.time == OWN_TIME and not any(OWN_TIME in group.names for group in groups)


def _read(group: Group, request: Request, names: Sequence[str]) -> Table:
    """Read channels of one group, with a column of its own times where they are needed."""
    own_time = _asks_own_time(request, [group])
    if request.rate_hz is not None and own_time:
        raise RecordingError(
            f"{request.source}: its own clock {OWN_TIME!r} is in seconds and counts no samples; "
            "leave `rate_hz` out."
        )
    if request.rate_hz is not None and request.time is None:
        _require_same_rate(group, request)
    columns, values = list(names), group.load([group.names.index(name) for name in names])
    if own_time or group.time_s is not None:
        times = group.time_s() if group.time_s is not None else _even(group)
        columns.append(OWN_TIME if own_time or OWN_TIME not in columns else f"{OWN_TIME}#clock")
        values = np.column_stack([values, times])
    return Table(
        columns=tuple(columns),
        values=values,
        units={name: group.units[name] for name in names if group.units.get(name)},
        row_of=group.row_of,
        rate_hz=group.rate_hz,
        start_s=group.start_s,
        time=columns[-1] if group.time_s is not None else None,
    )


def _even(group: Group) -> Array:
    return np.asarray(group.start_s + np.arange(group.n_samples) / group.rate_hz)


def _require_same_rate(group: Group, request: Request) -> None:
    """Refuse a declared rate that the file contradicts, or that would close its breaks."""
    rate_hz = request.rate_hz or 0.0
    if abs(rate_hz - group.rate_hz) > RATE_TOLERANCE * group.rate_hz:
        raise RecordingError(
            f"{request.source}: declares {group.rate_hz:.6g} Hz itself, not {rate_hz:.6g} Hz; "
            "leave `rate_hz` out, or correct it."
        )
    if group.time_s is not None:
        raise RecordingError(
            f"{request.source}: has breaks, which its own clock tells; leave `rate_hz` out."
        )
