"""What a file was found to hold: rate, duration, channels, gaps and units, for `check` to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from twinangle.signals.recording import Array, Recording
from twinangle.signals.timing import TimingReport
from twinangle.study import (
    AngleReference,
    AngleWearable,
    InertialWearable,
    MarkerReference,
    Reference,
    Wearable,
)
from twinangle.wording import count

Role = Literal["wearable", "reference", "static", "functional"]


@dataclass(frozen=True, slots=True)
class FileFacts:
    """One file as it was read; times are on its own clock."""

    role: Role
    source: str
    rate_hz: float
    start_s: float
    end_s: float
    n_channels: int
    units: str  # in words, such as "accelerometer m/s^2, gyroscope rad/s"
    n_samples: int
    n_missing: int  # samples without a value in one of the channels
    n_gaps: int  # stretches of them
    longest_gap_s: float
    first_stretch: bool = False  # read so far of a longer file; the run comes to the rest

    @property
    def duration_s(self) -> float:
        """From the first sample to the last."""
        return self.end_s - self.start_s

    def summary(self) -> str:
        """Return one line for a terminal."""
        gaps = (
            f"{self.n_missing} of {self.n_samples} samples missing in "
            f"{count(self.n_gaps, 'gap')}, the longest {self.longest_gap_s:.3g} s"
            if self.n_missing
            else "no gap"
        )
        read, rest = ("first stretch of ", "; the run reads on") if self.first_stretch else ("", "")
        return (
            f"{self.source}: {self.rate_hz:.6g} Hz, {read}{self.duration_s:.1f} s "
            f"({self.start_s:.6g} to {self.end_s:.6g} s{rest}), "
            f"{count(self.n_channels, 'channel')} ({self.units}), {gaps}"
        )


def facts_of(
    role: Role, recording: Recording, timing: TimingReport, settings: Wearable | Reference
) -> FileFacts:
    """Return what a uniform recording holds.

    Parameters
    ----------
    role : "wearable", "reference", "static" or "functional"
    recording : Recording
        On its uniform clock, gaps NaN.
    timing : TimingReport
        Of the same.
    settings : Wearable or Reference
        For units that the study file declares, and for a magnetometer slower than the rest, whose
        empty samples are no gaps.
    """
    seen = [
        k for k, name in enumerate(recording.channels) if not name.endswith(_slow_columns(settings))
    ]
    missing = np.asarray(np.isnan(recording.values[:, seen]).any(axis=1))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], missing.astype(np.int8), [0]))))
    lengths = edges[1::2] - edges[::2]
    return FileFacts(
        role=role,
        source=recording.source,
        rate_hz=timing.rate_hz,
        start_s=float(recording.time_s[0]),
        end_s=float(recording.time_s[-1]),
        n_channels=len(recording.channels),
        units=_units(recording, settings),
        n_samples=recording.time_s.size,
        n_missing=int(missing.sum()),
        n_gaps=int(lengths.size),
        longest_gap_s=float(np.max(lengths, initial=0)) / timing.rate_hz,
    )


def _slow_columns(settings: Wearable | Reference) -> tuple[str, ...]:
    if not isinstance(settings, InertialWearable):
        return ()
    sensors = (settings.proximal, settings.distal)
    return tuple(name for sensor in sensors for name in sensor.magnetometer or ())


def _units(recording: Recording, settings: Wearable | Reference) -> str:
    """Return the units that the study file or the file itself declares, in words."""
    if isinstance(settings, InertialWearable):
        parts = []
        for instrument in ("accelerometer", "gyroscope", "magnetometer"):
            names = getattr(settings.proximal, instrument) or ()
            if names:
                unit = getattr(settings.units, instrument) or _in_file(recording, names)
                parts.append(f"{instrument} {unit}")
        return ", ".join(parts)
    if isinstance(settings, MarkerReference):
        return f"{count(len(recording.channels) // 3, 'marker')} in {settings.unit}"
    if isinstance(settings, AngleWearable | AngleReference):
        return f"angle in {settings.unit}"
    return "quaternions"


def _in_file(recording: Recording, names: Sequence[str]) -> str:
    """Return the unit of the first of some columns, as its file has it."""
    for name, unit in zip(recording.channels, recording.units, strict=True):
        if unit and name.endswith(tuple(names)):
            return unit
    return "of no unit"


def overlap_s(wearable: FileFacts, reference: FileFacts, lag_s: float) -> float:
    """Return how long both record at a lag, on the wearable's clock; negative if they do not."""
    start = max(wearable.start_s, reference.start_s + lag_s)
    return min(wearable.end_s, reference.end_s + lag_s) - start


def most_overlap(
    wearable: FileFacts, reference: FileFacts, lags_s: tuple[float, float]
) -> tuple[float, float]:
    """Return the largest overlap at any lag of a range, and a lag that gives it."""
    low, high = lags_s
    best = np.clip(
        np.array(
            [wearable.start_s - reference.start_s, wearable.end_s - reference.end_s, low, high]
        ),
        low,
        high,
    )
    overlaps: Array = np.array([overlap_s(wearable, reference, float(lag)) for lag in best])
    chosen = int(np.argmax(overlaps))
    return float(overlaps[chosen]), float(best[chosen])
