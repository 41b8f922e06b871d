"""`scans.tsv` of each session: when each recording began, on invented days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from twinangle.export.labels import Name
from twinangle.export.plain_files import write_json, write_tsv

# The specification's dates before 1925 say that they are not the real ones.
FIRST_DAY = datetime(1900, 1, 1)
MEANING = (
    "Invented days, one for each trial of a session, at whose midnight the wearable's first sample "
    "was taken; only differences within a day mean anything. A reference's start is where the "
    "analysis placed its first sample on the wearable's clock; n/a where that was not possible."
)


@dataclass(frozen=True, slots=True)
class Start:
    """When one recording began: its trial's number, and seconds after the trial's midnight."""

    name: Name
    path: str  # relative to the data set
    day: int
    seconds: float | None


def write_scans(root: Path, starts: list[Start]) -> None:
    """Write the starts of every session, in the order of the recordings."""
    for folder in dict.fromkeys(start.name.folder for start in starts):
        own = [start for start in starts if start.name.folder == folder]
        days = {day: at for at, day in enumerate(dict.fromkeys(start.day for start in own))}
        rows = [
            (start.path.removeprefix(f"{folder}/"), _time(days[start.day], start.seconds))
            for start in own
        ]
        stem = f"sub-{own[0].name.subject}_ses-{own[0].name.session}_scans"
        write_tsv(root / folder / f"{stem}.tsv", ("filename", "acq_time"), rows)
        write_json(root / folder / f"{stem}.json", {"acq_time": {"Description": MEANING}})


def _time(day: int, seconds: float | None) -> str | None:
    if seconds is None:
        return None
    return (FIRST_DAY + timedelta(days=day, seconds=seconds)).isoformat(timespec="microseconds")
