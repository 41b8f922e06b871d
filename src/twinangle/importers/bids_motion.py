"""Motion-BIDS: `_motion.tsv` with its `_channels.tsv`, `_motion.json` and the scans' start times.

Follows the Brain Imaging Data Structure's part on motion data (BIDS 1.8 and later; Jeung et al.
2024, Sci Data 11, 716; from memory): the recording is a table without a header, its columns are
listed in `_channels.tsv`, its rate stands in `_motion.json`, and a channel of type LATENCY holds
times in seconds from the start.
"""

from __future__ import annotations

import csv
import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any

from twinangle.errors import RecordingError
from twinangle.importers.base import choose_columns
from twinangle.importers.delimited import MISSING_WORDS, Layout, read_columns, row_of
from twinangle.importers.table import Format, Request, Table

ENDING = "_motion.tsv"


def read(path: Path, request: Request) -> Table:
    """Read the requested channels of a Motion-BIDS recording."""
    channels = _channels(path, request)
    names = tuple(channel["name"] for channel in channels)
    layout = Layout("\t", ".", names, (), _n_header_rows(path, names))
    wanted = choose_columns(request, names)
    latency = next((c["name"] for c in channels if c.get("type", "").upper() == "LATENCY"), None)
    own_time = latency if request.time is None and request.rate_hz is None else None
    if own_time and own_time not in wanted:
        wanted.append(own_time)
    values = read_columns(path, layout, [names.index(name) for name in wanted], request)
    start_s = _start_s(path)
    if own_time:
        values[:, wanted.index(own_time)] += start_s
    units = {c["name"]: c.get("units", "") for c in channels if c["name"] in wanted}
    return Table(
        columns=tuple(wanted),
        values=values,
        units={name: unit for name, unit in units.items() if unit not in MISSING_WORDS},
        row_of=lambda sample: row_of(path, layout, sample),
        rate_hz=_rate_hz(path, request),
        start_s=start_s,
        time=own_time,
        notes=(f"starts {start_s:g} s after the first scan listed",) if start_s else (),
    )


def _channels(path: Path, request: Request) -> list[dict[str, str]]:
    """Return the rows of the recording's `_channels.tsv`."""
    sidecar = _sidecar(path, "_channels.tsv")
    if sidecar is None:
        raise RecordingError(
            f"{request.source}: has no `_channels.tsv` beside it, which names the columns of a "
            f"Motion-BIDS recording; expected {path.name.removesuffix(ENDING)}_channels.tsv."
        )
    try:
        with sidecar.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.DictReader(stream, delimiter="\t"))
    except (UnicodeDecodeError, csv.Error, OSError) as error:
        raise RecordingError(
            f"{request.source}: its {sidecar.name} cannot be read: {error}."
        ) from error
    if not rows or any(not (row.get("name") or "").strip() for row in rows):
        raise RecordingError(
            f"{request.source}: its {sidecar.name} must name every channel in a column 'name'."
        )
    return [{key: (value or "").strip() for key, value in row.items() if key} for row in rows]


def _rate_hz(path: Path, request: Request) -> float | None:
    """Return `SamplingFrequency` of the nearest `_motion.json`."""
    sidecar = _sidecar(path, "_motion.json")
    if sidecar is None:
        return None
    try:
        content: Any = json.loads(sidecar.read_text(encoding="utf-8-sig"))
    except (ValueError, OSError) as error:
        raise RecordingError(
            f"{request.source}: its {sidecar.name} cannot be read: {error}."
        ) from error
    rate = content.get("SamplingFrequency") if isinstance(content, dict) else None
    if rate is None or rate == "n/a":
        return None
    if isinstance(rate, bool) or not isinstance(rate, (int, float)) or not rate > 0:
        raise RecordingError(
            f"{request.source}: `SamplingFrequency` in {sidecar.name} is {rate!r}; accepted: a "
            "number of hertz above 0."
        )
    return float(rate)


def _entities(name: str) -> frozenset[str]:
    return frozenset(part for part in name.split("_")[:-1] if "-" in part)


def _sidecar(path: Path, ending: str) -> Path | None:
    """Return the nearest file that applies to the recording, by the inheritance principle.

    It has the ending, no entity that the recording lacks, and lies in the same folder or above,
    up to the data set's root; the one nearest, then with most entities, applies.
    """
    own = _entities(path.name)
    for folder in path.resolve().parents:
        found = [each for each in folder.glob(f"*{ending}") if _entities(each.name) <= own]
        if found:
            return max(found, key=lambda each: (len(_entities(each.name)), each.name))
        if (folder / "dataset_description.json").exists() or not re.match(
            r"(sub|ses)-|motion$", folder.name
        ):
            return None
    return None


def _n_header_rows(path: Path, names: tuple[str, ...]) -> int:
    """Return 1 where the table, against the rule, repeats the channels' names, else 0."""
    with path.open("rb") as stream:
        first = stream.readline(1 << 20).decode("utf-8-sig", "replace")
    return int([cell.strip() for cell in first.rstrip("\r\n").split("\t")] == list(names))


def _start_s(path: Path) -> float:
    """Return the start in seconds after the earliest scan in `scans.tsv`; 0 where unknown."""
    for folder in list(path.resolve().parents)[:3]:
        for scans in folder.glob("sub-*_scans.tsv"):
            times = _scan_times(scans)
            own = times.get(path.resolve().relative_to(folder).as_posix())
            if own is not None:
                return (own - min(times.values())).total_seconds()
    return 0.0


def _scan_times(scans: Path) -> dict[str, datetime]:
    times = {}
    try:
        with scans.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.DictReader(stream, delimiter="\t"):
                try:
                    start = datetime.fromisoformat(row["acq_time"].strip())
                except (KeyError, ValueError, AttributeError):
                    continue
                times[row.get("filename", "")] = start.replace(tzinfo=None)
    except (UnicodeDecodeError, csv.Error, OSError):
        return {}
    return times


FORMAT = Format("Motion-BIDS", (ENDING,), read)
