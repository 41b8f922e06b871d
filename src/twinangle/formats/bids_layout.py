"""What the Brain Imaging Data Structure says of a recording outside its own table.

Rules of the specification (BIDS 1.9 and later: common principles, data summary files, motion):
names are made of `key-label` entities; a sidecar applies to every recording at or below its folder
that has all of its entities, and a nearer one overrides a farther one key by key (inheritance
principle); `scans.tsv` holds the acquisition time of each recording of a session.
"""

from __future__ import annotations

import csv
import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any

DESCRIPTION = "dataset_description.json"


def entities(name: str) -> dict[str, str]:
    """Return the entities of a file's name, in its order: `sub-01_task-x_motion.tsv`."""
    parts = [part.partition("-") for part in name.split(".")[0].split("_")]
    return {key: label for key, dash, label in parts if dash}


def applicable(path: Path, ending: str) -> list[Path]:
    """Return the sidecars with `ending` that apply to the recording, farthest first.

    One has no entity that the recording lacks and lies in its folder or above, up to the data
    set's root; within a folder, the one with more entities is the nearer.
    """
    own = entities(path.name).items()
    found: list[Path] = []
    for folder in path.resolve().parents:
        here = [p for p in folder.glob(f"*{ending}") if entities(p.name).items() <= own]
        here.sort(key=lambda each: (len(entities(each.name)), each.name), reverse=True)
        found += here
        if (folder / DESCRIPTION).exists() or not re.match(r"(sub|ses)-|motion$", folder.name):
            break
    return found[::-1]


def read_table(path: Path) -> list[dict[str, str]]:
    """Read a TSV table with a header; cells without surrounding blanks, absent ones empty.

    Raises
    ------
    OSError, UnicodeDecodeError, csv.Error
        If it cannot be read.
    """
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream, delimiter="\t"))
    return [{key: (cell or "").strip() for key, cell in row.items() if key} for row in rows]


def read_metadata(path: Path, ending: str) -> dict[str, Any]:
    """Return the recording's metadata, nearer sidecars overriding farther ones key by key.

    Raises
    ------
    ValueError
        If a sidecar cannot be read or holds no JSON object; the message names it.
    """
    merged: dict[str, Any] = {}
    for sidecar in applicable(path, ending):
        try:
            content = json.loads(sidecar.read_text(encoding="utf-8-sig"))
        except (ValueError, OSError, RecursionError) as error:
            raise ValueError(f"its {sidecar.name} cannot be read: {error}") from error
        if not isinstance(content, dict):
            raise ValueError(f"its {sidecar.name} holds no JSON object")  # noqa: TRY004
        merged |= content
    return merged


def start_s(path: Path) -> float | None:
    """Return when the recording began, in seconds after the first of those made with it.

    Made with it are the recordings whose names differ in `tracksys` alone: other tracking systems
    at the same time. Their starts are the `acq_time` in `scans.tsv`. None where the recording's
    own start is not given.
    """
    together = {key: label for key, label in entities(path.name).items() if key != "tracksys"}
    for scans in scans_of(path):
        times = _acquisition_times(scans)
        own = times.get(path.resolve().relative_to(scans.parent).as_posix())
        if own is None:
            continue
        peers = [
            time
            for name, time in times.items()
            if name.endswith("_motion.tsv") and _without_system(name) == together
        ]
        return (own - min(peers)).total_seconds()
    return None


def scans_of(path: Path) -> list[Path]:
    """Return the `scans.tsv` files of the recording's session or subject."""
    folders = list(path.resolve().parents)[:3]
    return [scans for folder in folders for scans in sorted(folder.glob("sub-*_scans.tsv"))]


def _without_system(name: str) -> dict[str, str]:
    found = entities(name.rsplit("/", 1)[-1])
    found.pop("tracksys", None)
    return found


def _acquisition_times(scans: Path) -> dict[str, datetime]:
    """Return the start of each recording that has one; `n/a` and what is no time are left out."""
    times = {}
    try:
        rows = read_table(scans)
    except (UnicodeDecodeError, csv.Error, OSError):
        return {}
    for row in rows:
        try:
            start = datetime.fromisoformat(row.get("acq_time", ""))
        except ValueError:
            continue
        times[row.get("filename", "")] = start.replace(tzinfo=None)
    return times
