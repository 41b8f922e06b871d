"""Whether an orientation's vertical agrees with the specific force, which shows it over seconds."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.notices import Notice
from twinangle.signals.recording import (
    Array,
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions

WINDOW_S = 4.0
LOST_DEG = 15.0
"""Tilt of the mean force that takes 2.6 m/s² held for four seconds; honest recordings reach 12°."""


def vertical_tilt_deg(sensor: InertialRecording, orientation: OrientationRecording) -> Array:
    """Return the angle between the mean specific force and the vertical, window by window.

    The specific force turned into the earth frame, its mean over 4 s: the sensor's own
    acceleration averages to its change of speed over 4 s, and gravity is left. NaN for a window
    that lacks a tenth of its samples or more.

    Parameters
    ----------
    sensor : InertialRecording
    orientation : OrientationRecording
        Of the same samples.

    Returns
    -------
    (m,) array
        Degrees.
    """
    earth = quaternions.rotate(orientation.quaternion, sensor.accelerometer)
    length = round(WINDOW_S * sensor.rate_hz)
    windows = earth[: earth.shape[0] // length * length].reshape(-1, length, 3)
    known = np.asarray(np.isfinite(windows).all(axis=2))
    total = np.where(known[:, :, None], windows, 0.0).sum(axis=1)
    tilt = np.degrees(np.arctan2(np.hypot(total[:, 0], total[:, 1]), total[:, 2]))
    return np.where(known.mean(axis=1) > 0.9, tilt, np.nan)


def _told_of(orientation: OrientationRecording, off_level: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which windows off level belong to a loss that the filter has told of.

    Those that touch the stretch before it levelled again, and those off level next to them: the
    filter sees a loss later than it begins.
    """
    begin = orientation.start_s + WINDOW_S * np.arange(off_level.size)
    told = np.zeros(off_level.size, dtype=np.bool_)
    for stretch in orientation.levelled:
        told |= (begin <= stretch.end_s) & (begin + WINDOW_S >= stretch.start_s)
    runs, n_runs = scipy.ndimage.label(off_level | told)
    for run in range(1, n_runs + 1):
        told |= (runs == run) & bool(told[runs == run].any())
    return told


def vertical_warnings(pair: SensorPair, oriented: OrientationPair) -> tuple[str, ...]:
    """Warn of a sensor whose vertical was lost, with how far and when.

    A loss of which the filter itself has told, having found the vertical again, is passed over: one
    event has one warning.
    """
    found = []
    for name in ("proximal", "distal"):
        sensor, orientation = getattr(pair, name), getattr(oriented, name)
        tilt = vertical_tilt_deg(sensor, orientation)
        off_level = np.nan_to_num(tilt) > LOST_DEG
        lost = np.flatnonzero(off_level & ~_told_of(orientation, off_level))
        if not lost.size:
            continue
        worst = int(lost[np.argmax(tilt[lost])])
        begin_s = sensor.start_s + worst * WINDOW_S
        off, limit = told_apart(float(tilt[worst]), LOST_DEG, 0)
        text = (
            f"{name} sensor ({sensor.source}): its vertical was lost: over {begin_s:.0f} to "
            f"{begin_s + WINDOW_S:.0f} s the mean specific force lies {off}° off it "
            f"(more than {limit}°, in {lost.size * WINDOW_S:.0f} s in all), as after a "
            "saturated gyroscope or a knock. Leave the stretch out (`mask`, or `start_s` and "
            "`end_s`), or record with a wider range."
        )
        found.append(Notice(text, "vertical-lost", "grave", float(tilt[worst])))
    return tuple(found)
