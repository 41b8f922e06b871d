"""The vertical as gyroscope and accelerometer alone give it, once a sensor."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.recording import Array, InertialRecording, OrientationRecording
from twinangle.wearable import quaternions
from twinangle.wearable.orientation import vqf_offline


@lru_cache(maxsize=4)  # several tests ask for it, of the same two sensors
def level(sensor: InertialRecording) -> OrientationRecording | None:
    """Return the orientation without the magnetometer; None where no stretch is long enough."""
    try:
        return vqf_offline(sensor.without_magnetometer())
    except RecordingError:
        return None


def vertical_of(sensor: InertialRecording) -> Array:
    """Return the unit vector upwards in the sensor's frame, (n, 3); NaN where it is not known."""
    found = level(sensor)
    if found is None:
        return np.full((sensor.n_samples, 3), np.nan)
    return quaternions.rotate(quaternions.conjugate(found.quaternion), np.array([0.0, 0.0, 1.0]))


def vertical_rate(sensor: InertialRecording) -> Array:
    """Return the rate about the vertical in rad/s, (n,)."""
    return np.asarray(np.sum(vertical_of(sensor) * sensor.gyroscope, axis=1))
