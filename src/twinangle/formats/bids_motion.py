"""Motion-BIDS: `_motion.tsv` with its `_channels.tsv`, `_motion.json` and the scans' start times.

Follows the Brain Imaging Data Structure's part on motion data (BIDS 1.9 and later, modality
"motion"; Jeung et al. 2024, Sci Data 11, 716): the recording is a table without a header, its
columns are listed in `_channels.tsv`, its rate stands in `_motion.json`, and a channel of type
LATENCY holds the seconds from the first sample.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np

from twinangle.errors import RecordingError, closed
from twinangle.formats.base import choose_columns
from twinangle.formats.bids_layout import (
    applicable,
    read_metadata,
    read_table,
    scans_of,
    start_s,
)
from twinangle.formats.delimited import read_columns, row_of
from twinangle.formats.delimited_layout import MISSING_WORDS, Layout
from twinangle.formats.request import Event, Format, Request, Table
from twinangle.notices import Notice
from twinangle.signals.recording import Array

ENDING = "_motion.tsv"
Channel = dict[str, str]


def read(path: Path, request: Request) -> Table:
    """Read the requested channels of a Motion-BIDS recording."""
    channels = _channels(path, request)
    metadata = _metadata(path, request)
    names = tuple(channel["name"] for channel in channels)
    layout = Layout("\t", ".", names, (), _n_header_rows(path, names, request))
    wanted = choose_columns(request, names)
    latency = _latency(channels, request)
    own_clock = request.time is None and request.rate_hz is None
    own_time = latency if own_clock else None
    if own_time and own_time not in wanted:
        wanted.append(own_time)
    chosen = [channel for channel in channels if channel["name"] in wanted]
    values, _ = read_columns(path, layout, [names.index(name) for name in wanted], request)
    notes = _mark_missing(values, wanted, latency, metadata.get("MissingValues"))
    began_s = start_s(path)
    if own_time:
        values[:, wanted.index(own_time)] += began_s or 0.0
    units = {channel["name"]: channel.get("units", "") for channel in chosen}
    return Table(
        columns=tuple(wanted),
        values=values,
        units={name: unit for name, unit in units.items() if unit not in MISSING_WORDS},
        row_of=lambda sample: row_of(path, layout, sample),
        rate_hz=_rate_hz(metadata, chosen, request),
        start_s=began_s or 0.0,
        time=own_time,
        notes=(*notes, *_bad_channels(chosen), *(_start_note(began_s) if own_clock else ())),
        roles={channel["name"]: _role(channel) for channel in chosen},
    )


def read_events(path: Path, source: str) -> tuple[Event, ...]:
    """Return the events of the nearest `_events.tsv` that applies, on the file's own clock.

    An onset counts from the recording's first sample; the kind is the `trial_type`.
    """
    sidecars = applicable(path, "_events.tsv")
    if not sidecars:
        return ()
    where = f"{source}: its {sidecars[-1].name}"
    try:
        rows = read_table(sidecars[-1])
    except (UnicodeDecodeError, csv.Error, OSError) as error:
        raise RecordingError(f"{where} cannot be read: {closed(error)}") from error
    began_s = start_s(path) or 0.0
    events = []
    for number, row in enumerate(rows, start=2):
        try:
            onset = float(row.get("onset", ""))
        except ValueError:
            onset = math.nan
        if not math.isfinite(onset):
            raise RecordingError(
                f"{where}, row {number}, column 'onset': is {row.get('onset', '')!r}; accepted: a "
                "number of seconds."
            )
        kind = row.get("trial_type", "")
        events.append(Event(onset + began_s, "event" if kind in MISSING_WORDS else kind))
    return tuple(sorted(events, key=lambda event: event.time_s))


def _role(channel: Channel) -> str:
    """Return what the file itself says of a channel: where it is, what it is, along which axis."""
    parts = (channel.get(key, "") for key in ("tracked_point", "type", "component"))
    return " ".join(part for part in parts if part not in MISSING_WORDS)


def _start_note(began_s: float | None) -> tuple[str, ...]:
    if not began_s:
        return ()
    return (f"starts {began_s:g} s after the first recording made with it (scans.tsv)",)


def _channels(path: Path, request: Request) -> list[Channel]:
    """Return the rows of the recording's `_channels.tsv`, its types in capitals."""
    sidecars = applicable(path, "_channels.tsv")
    if not sidecars:
        raise RecordingError(
            f"{request.source}: has no `_channels.tsv` beside it, which names the columns of a "
            f"Motion-BIDS recording; expected {path.name.removesuffix(ENDING)}_channels.tsv."
        )
    sidecar = sidecars[-1]
    try:
        rows = read_table(sidecar)
    except (UnicodeDecodeError, csv.Error, OSError) as error:
        raise RecordingError(
            f"{request.source}: its {sidecar.name} cannot be read: {closed(error)}"
        ) from error
    if not rows or any(not row.get("name") for row in rows):
        raise RecordingError(
            f"{request.source}: its {sidecar.name} must name every channel in a column 'name'."
        )
    return [row | {"type": row.get("type", "").upper()} for row in rows]


def _metadata(path: Path, request: Request) -> dict[str, Any]:
    """Return what the recording's `_motion.json` files say."""
    try:
        return read_metadata(path, "_motion.json")
    except ValueError as error:
        raise RecordingError(f"{request.source}: {closed(error)}") from error


def _latency(channels: list[Channel], request: Request) -> str | None:
    """Return the channel of times from the first sample; its unit must be the second."""
    channel = next((each for each in channels if each["type"] == "LATENCY"), None)
    if channel is None:
        return None
    unit = channel.get("units", "")
    if unit not in ("s", "sec", "seconds", *MISSING_WORDS):
        raise RecordingError(
            f"{request.source}: its LATENCY channel {channel['name']!r} is in {unit!r}; a LATENCY "
            "channel holds seconds."
        )
    return channel["name"]


def _rate_hz(metadata: dict[str, Any], channels: list[Channel], request: Request) -> float | None:
    """Return `SamplingFrequency`, or what the channels say where it is `n/a`; they must agree."""
    rate = metadata.get("SamplingFrequency")
    given = None if rate in (None, "n/a") else _hertz(rate, "`SamplingFrequency`", request)
    for channel in channels:
        text = channel.get("sampling_frequency", "")
        if text in MISSING_WORDS or channel["type"] == "LATENCY":
            continue
        what = f"the sampling_frequency of channel {channel['name']!r}"
        own = _hertz(text, what, request)
        if given is not None and abs(own / given - 1) > 1e-3:
            raise RecordingError(
                f"{request.source}: {what} is {own:g} Hz where {given:g} Hz holds for the others; "
                "leave that channel out: its samples do not belong to the rows."
            )
        given = own if given is None else given
    return given


def _hertz(value: object, what: str, request: Request) -> float:
    """Return a rate above 0, as a number or its text."""
    try:
        rate = math.nan if isinstance(value, bool) else float(str(value))
    except ValueError:
        rate = math.nan
    if not 0 < rate < math.inf:
        raise RecordingError(
            f"{request.source}: {what} is {value!r}; accepted: a number of hertz above 0."
        )
    return rate


def _mark_missing(
    values: Array, names: list[str], latency: str | None, word: object
) -> tuple[str, ...]:
    """Turn the number that `MissingValues` declares to stand for a gap into one; tell how many."""
    try:
        mark = math.nan if isinstance(word, bool) else float(str(word))
    except ValueError:
        return ()
    if not math.isfinite(mark):
        return ()
    signals = [column for column, name in enumerate(names) if name != latency]
    missing = values[:, signals] == mark
    values[:, signals] = np.where(missing, np.nan, values[:, signals])
    if not missing.any():
        return ()
    return (f"{int(missing.sum())} value(s) of {mark:g} are gaps by the file's `MissingValues`",)


def _bad_channels(channels: list[Channel]) -> tuple[str, ...]:
    """Tell which of the channels the data set itself calls bad."""
    return tuple(
        Notice(f"channel {each['name']!r} is marked bad in the data set{_why(each)}", "bad-channel")
        for each in channels
        if each.get("status", "").lower() == "bad"
    )


def _why(channel: Channel) -> str:
    why = channel.get("status_description", "")
    return f" ({why})" if why not in MISSING_WORDS else ""


def _n_header_rows(path: Path, names: tuple[str, ...], request: Request) -> int:
    """Return 1 where the table, against the rule, repeats the channels' names, else 0."""
    with path.open("rb") as stream:
        first = stream.readline(1 << 20).decode("utf-8-sig", "replace")
    cells = [cell.strip() for cell in first.rstrip("\r\n").split("\t")]
    if len(cells) != len(names):
        raise RecordingError(
            f"{request.source}, row 1: has {len(cells)} column(s) where its `_channels.tsv` names "
            f"{len(names)}; both must have the same number."
        )
    return int(cells == list(names))


def companions(path: Path) -> list[Path]:
    """Return the sidecars that tell what the recording holds and when it began."""
    found = applicable(path, "_channels.tsv")[-1:] + applicable(path, "_motion.json")
    return found + scans_of(path) + applicable(path, "_events.tsv")[-1:]


FORMAT = Format("Motion-BIDS", (ENDING,), read, read_events, companions)
