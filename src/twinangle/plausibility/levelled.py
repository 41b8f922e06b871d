"""The vertical as gyroscope and accelerometer alone give it, once a sensor."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.recording import (
    Array,
    InertialRecording,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable import quaternions
from twinangle.wearable.orientation import levelled

WINDOW_S = 3.0
"""Hann window of a turn: of a rate at 0.8 Hz 3 % pass, and 4 % at 0.6 Hz (slow strides). Of a mean
over 1.2 s 52 % and 70 % passed, and the knee's axial rotation was taken for turns."""


def level(sensor: InertialRecording) -> OrientationRecording | None:
    """Return the orientation without the magnetometer; None where no stretch is long enough."""
    try:
        return levelled(sensor)
    except RecordingError:
        return None


@lru_cache(maxsize=4)  # several tests ask for it, of the same two sensors
def vertical_of(sensor: InertialRecording) -> Array:
    """Return the unit vector upwards in the sensor's frame, (n, 3); NaN where it is not known.

    Not to be written to.
    """
    found = level(sensor)
    up = np.full((sensor.n_samples, 3), np.nan)
    if found is not None:
        turned_back = quaternions.conjugate(found.quaternion)
        up = quaternions.rotate(turned_back, np.array([0.0, 0.0, 1.0]))
    up.setflags(write=False)
    return up


def vertical_rate(sensor: InertialRecording) -> Array:
    """Return the rate about the vertical in rad/s, (n,)."""
    return np.asarray(np.sum(vertical_of(sensor) * sensor.gyroscope, axis=1))


def turns(pair: SensorPair) -> Array:
    """Return both sensors' rates about the vertical without what repeats in each stride.

    Weighted means over :data:`WINDOW_S`, one a sample, rad/s, shape (2, n − window + 1); NaN where
    a sample of the window is missing, no column where the recording is shorter than the window.
    """
    weight = np.hanning(round(WINDOW_S * pair.proximal.rate_hz) + 2)[1:-1]
    weight = weight / weight.sum()
    if pair.proximal.n_samples < weight.size:
        return np.empty((2, 0))
    both = [vertical_rate(sensor) for sensor in (pair.proximal, pair.distal)]
    return np.stack([np.convolve(rate, weight, "valid") for rate in both])
