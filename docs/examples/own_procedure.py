"""A procedure of your own, to copy: what it is given, and what it must give back.

Name it in the study file, `procedures = ["kalman", "own_procedure:flexion"]`, with this file's
folder in PYTHONPATH, and run with `--allow-own-procedures`; from a notebook:
`read_study("study.toml", allow_own_procedures=True)`. A fault names this file, its line and the
line's text, and does not stop the other procedures.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import InertialRecording, Interval, SensorPair
from twinangle.wearable.procedures import WearableTrial

Floats = NDArray[np.float64]


def flexion(trial: WearableTrial) -> Floats:
    """Return the flexion angle in degrees, one value a sample of the walk; NaN is a gap.

    This one integrates the difference of the gyroscopes along each one's main axis, without the
    bias of standing; it drifts. Put your own computation in its place.
    """
    walk, standing = trial.walk, trial.static
    if not isinstance(walk, SensorPair) or not isinstance(standing, Interval):
        raise TypeError("this procedure takes raw signals with neutral standing in the same file.")
    time_s = walk.distal.time_s
    still = (time_s >= standing.start_s) & (time_s <= standing.end_s)
    thigh, shank = _main_rate(walk.proximal, still), _main_rate(walk.distal, still)
    if np.nansum(thigh * shank) < 0:  # an axis has two directions; segments swing together
        thigh = -thigh
    rate = shank - thigh
    angle = np.degrees(np.cumsum(np.nan_to_num(rate))) / walk.distal.rate_hz
    if abs(angle.min()) > angle.max():  # the larger excursion from standing is flexion
        angle = -angle
    angle += trial.standing_deg - angle[still].mean()
    angle[np.isnan(rate)] = np.nan
    return angle


def _main_rate(sensor: InertialRecording, still: NDArray[np.bool_]) -> Floats:
    """Return the rate along the sensor's main axis, in rad/s."""
    rate = sensor.gyroscope - np.nanmean(sensor.gyroscope[still], axis=0)
    known = rate[np.isfinite(rate).all(axis=1)]
    return np.asarray(rate @ np.linalg.eigh(known.T @ known)[1][:, -1])
