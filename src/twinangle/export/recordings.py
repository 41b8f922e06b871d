"""One recording as `_motion.tsv`, `_channels.tsv`, `_channels.json` and `_motion.json`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from twinangle.export.channel_rows import COLUMNS, COUNTED, FRAMES, Channel, latency, own_clock
from twinangle.export.labels import Name
from twinangle.export.plain_files import LATENCY, write_json, write_samples, write_tsv
from twinangle.signals.recording import Array

TIME = "time_s"


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """What one `_motion.tsv` holds: times on the recording's own clock, and its channels."""

    time_s: Array
    values: Array  # (n, n_channels)
    channels: Sequence[Channel]
    time_name: str = TIME
    notes: tuple[str, ...] = ()  # what the importer mended, file names left out


def write_recording(
    root: Path, name: Name, system: str, samples: Samples, *, task: str, description: str = ""
) -> str:
    """Write a recording and its sidecars; return its table's place relative to the data set.

    Columns: the channels as they are, the recording's own clock as a MISC channel, and the
    LATENCY from the first sample. Nothing is resampled; missing rows stay missing.
    """
    taken = {samples.time_name, *(channel.name for channel in samples.channels)}
    latency_name = LATENCY if LATENCY not in taken else f"{LATENCY}_from_start"
    channels = [*samples.channels, own_clock(samples.time_name), latency(latency_name)]
    from_start = samples.time_s - samples.time_s[0]

    def place(suffix: str) -> Path:
        return root / name.folder / name.file(system, f"{description}{suffix}")

    values = np.column_stack([samples.values, samples.time_s])
    write_samples(place("motion.tsv"), values, from_start)
    write_tsv(place("channels.tsv"), COLUMNS, (channel.row for channel in channels))
    frames = sorted({c.reference_frame for c in channels if c.reference_frame})
    if frames:
        levels = {frame: {"Description": FRAMES[frame]} for frame in frames}
        write_json(place("channels.json"), {"reference_frame": {"Levels": levels}})
    write_json(place("motion.json"), _metadata(samples, channels, system, task))
    return f"{name.folder}/{name.file(system, f'{description}motion.tsv')}"


def _metadata(
    samples: Samples, channels: Sequence[Channel], system: str, task: str
) -> dict[str, Any]:
    """Return what `_motion.json` holds: required fields first, then counts."""
    steps = np.diff(samples.time_s)
    effective = 1 / float(np.median(steps))
    counts = {kind: sum(channel.type == kind for channel in channels) for kind in COUNTED}
    points = {c.tracked_point for c in channels if c.tracked_point}
    content: dict[str, Any] = {
        "TaskName": task,
        "SamplingFrequency": round(effective, 3),
        "TrackingSystemName": system,
        "SamplingFrequencyEffective": effective,
        "RecordingDuration": float(samples.time_s[-1] - samples.time_s[0]),
        "MissingValues": "n/a",
        "MotionChannelCount": len(channels),
    }
    content |= {f"{kind}ChannelCount": n for kind, n in counts.items() if n}
    content["TrackedPointsCount"] = len(points)
    if samples.notes:
        content["ImportNotes"] = list(samples.notes)
    return content
