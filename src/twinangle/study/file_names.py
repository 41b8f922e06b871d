"""Warnings about file names that may tell who was recorded, or when."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from twinangle.naming import listed
from twinangle.signals.joint import JOINTS
from twinangle.study.participant_codes import DATE
from twinangle.study.trial_row import SensorFiles, Trial

WITH_YEAR = re.compile(r"(?<!\d)(\d{1,2}_\d{1,2}_(19|20)\d\d|(19|20)\d\d_\d{1,2}_\d{1,2})(?!\d)")
CAPITALISED = re.compile(r"(?<![^\W\d_])([A-ZÀ-Þ][^\W\d_A-ZÀ-Þ]+)[ _.-]?([A-ZÀ-Þ][^\W\d_A-ZÀ-Þ]+)")
# Words that stand in the names of recordings and are nobody's name.
ORDINARY = frozenset((
    "acc", "accelerometer", "angle", "angles", "calibration", "control", "cycle", "data", "elbow",
    "export", "file", "fast", "flexion", "functional", "gait", "gonio", "goniometer", "group",
    "gyr", "gyroscope", "healthy", "imu", "indoor", "inertial", "joint", "knee", "left", "level",
    "log", "mag", "magnetometer", "marker", "markers", "motion", "neutral", "optical", "outdoor",
    "patient", "path", "pose", "pre", "post", "raw", "reference", "record", "recording", "right",
    "run", "sensor", "session", "shank", "side", "signal", "slow", "speed", "squat", "stair",
    "stairs", "standing", "static", "stride", "study", "subject", "test", "thigh", "time",
    "track", "treadmill", "trial", "trials", "uphill", "downhill", "walk", "walking", "wearable",
))  # fmt: skip
MOST_SHOWN = 3


def file_name_warnings(trials: Iterable[Trial], folder: Path) -> tuple[str, ...]:
    """Return a warning where paths of recordings hold what reads as a date or a person's name.

    Paths stand in the results, their report and every message. A date is as in participants'
    identifiers; a name is two capitalised words on end of which neither is a word of the trade nor
    of the row's own condition.
    """
    found: dict[str, list[str]] = {"a date": [], "a person's name": []}
    for trial in trials:
        for name in _names(trial, folder):
            what = _looks_like(name, trial)
            if what and name not in found[what]:
                found[what].append(name)
    return tuple(
        f"file name {listed(names, most=MOST_SHOWN)} holds what looks like {what}; results and "
        "report print file names. Name files by code, such as 'P01_indoor.csv'."
        for what, names in found.items()
        if names
    )


def _names(trial: Trial, folder: Path) -> Iterator[str]:
    """Yield the paths of one trial's files as the table has them."""
    for each in (trial.wearable, trial.reference, trial.static, trial.functional, trial.events):
        for path in each.both if isinstance(each, SensorFiles) else (each,):
            if isinstance(path, Path) and path != folder and path.is_relative_to(folder):
                yield path.relative_to(folder).as_posix()


def _looks_like(name: str, trial: Trial) -> str:
    if DATE.search(name) or WITH_YEAR.search(name):
        return "a date"
    segments = {
        w for joint in JOINTS.values() for part in joint.segments.values() for w in part.words
    }
    own = re.findall(r"[^\W\d_]+", f"{trial.condition} {trial.session} {trial.trial}".casefold())
    ordinary = ORDINARY | segments | set(own)
    for pair in CAPITALISED.finditer(name):
        if not any(word.casefold() in ordinary for word in pair.groups()):
            return "a person's name"
    return ""
