"""A procedure of your own, to copy: what it is given, and what it must give back.

Name it in the study file, `procedures = ["kalman", "own_procedure:flexion"]`, with this file's
folder in PYTHONPATH, and run with `--allow-own-procedures`; from a notebook:
`read_study("study.toml", allow_own_procedures=True)`. A fault names this file, its line and the
line's text, and does not stop the other procedures.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Interval, SensorPair
from twinangle.wearable.procedures import WearableTrial


def flexion(trial: WearableTrial) -> NDArray[np.float64]:
    """Return the flexion angle in degrees, one value a sample of the walk; NaN is a gap.

    This one integrates the difference of both gyroscopes about the sensors' own x axis, takes the
    drift off with a straight line, and sets the mean of neutral standing to `standing_deg`. Put
    your own computation in its place.
    """
    walk = trial.walk
    if not isinstance(walk, SensorPair):
        raise TypeError("this procedure takes raw signals: a wearable of kind 'inertial'.")
    time_s = walk.distal.time_s
    rate = walk.distal.gyroscope[:, 0] - walk.proximal.gyroscope[:, 0]  # rad/s, shank minus thigh
    angle = np.rad2deg(np.cumsum(np.nan_to_num(rate)) / walk.distal.rate_hz)
    angle -= np.polyval(np.polyfit(time_s, angle, 1), time_s)
    if isinstance(trial.static, Interval):
        standing = (time_s >= trial.static.start_s) & (time_s <= trial.static.end_s)
        angle += trial.standing_deg - angle[standing].mean()
    angle[np.isnan(rate)] = np.nan
    return angle
