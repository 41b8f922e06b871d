"""Checks on the channels of a uniform recording, shared by wearable and reference."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.recording import Array, Recording
from twinangle.wording import count

LEAST_SAMPLES = 10
UNIT_NORM_TOLERANCE = 0.01


class QuaternionColumns(Protocol):
    """The four channel names of one segment's orientation, scalar first."""

    @property
    def quaternion(self) -> Sequence[str]:
        """Channels w, x, y, z."""


def require_enough_samples(recording: Recording) -> None:
    """Refuse a recording too short for any angle.

    Raises
    ------
    RecordingError
        If it holds fewer than ten samples.
    """
    if len(recording.time_s) < LEAST_SAMPLES:
        raise RecordingError(
            f"{recording.source}: holds {count(len(recording.time_s), 'sample')}; an angle "
            f"needs at least {LEAST_SAMPLES}."
        )


def sampling_rate_hz(recording: Recording) -> float:
    """Return the sampling rate of a uniform recording, in hertz."""
    times = recording.time_s
    rate_hz = (times.size - 1) / float(times[-1] - times[0])
    return round(rate_hz, 6) if abs(rate_hz - round(rate_hz, 6)) < 1e-9 * rate_hz else rate_hz


def refuse_constant(
    values: Array, name: str, source: str, *, constant_is_fault: bool = True
) -> None:
    """Refuse a channel that is empty, or holds one value throughout.

    Raises
    ------
    RecordingError
        Naming the file, the channel and the value.
    """
    present = values[np.isfinite(values)]
    if not present.size:
        raise RecordingError(f"{source}: channel {name!r} holds no value at all.")
    if constant_is_fault and present.size >= LEAST_SAMPLES and np.ptp(present) == 0:
        raise RecordingError(
            f"{source}: channel {name!r} holds the same value throughout ({present.size} samples); "
            "is it disconnected, or the wrong column?"
        )


def unit_quaternions(recording: Recording, names: Sequence[str]) -> Array:
    """Return (n, 4) unit quaternions, scalar first, from four channels.

    Raises
    ------
    RecordingError
        If one is more than 1 % off unit length, all are the same, or a channel is empty.
    """
    values = recording.columns(list(names))
    for column, name in enumerate(names):
        refuse_constant(values[:, column], name, recording.source, constant_is_fault=False)
    values[np.isnan(values).any(axis=1)] = np.nan
    norm = np.linalg.norm(values, axis=1)
    bad = np.flatnonzero(np.abs(norm - 1) > UNIT_NORM_TOLERANCE)
    if bad.size:
        at = int(bad[0])
        shown = ", ".join(f"{value:.6g}" for value in values[at])
        raise RecordingError(
            f"{recording.source}, channels {', '.join(names)}: the quaternion at "
            f"{recording.time_s[at]:.6g} s (sample {at + 1}) is ({shown}), of length "
            f"{norm[at]:.4g} ({bad.size} such sample(s)); accepted: unit length within 1 %, scalar "
            "first, or empty cells for a gap."
        )
    present = values[np.isfinite(norm)]
    if len(present) >= LEAST_SAMPLES and (np.ptp(present, axis=0) == 0).all():
        raise RecordingError(
            f"{recording.source}, channels {', '.join(names)}: the orientation never changes "
            f"({len(present)} samples); is the sensor disconnected, or are these the wrong columns?"
        )
    return np.asarray(values / norm[:, np.newaxis])
