"""Two sensors' clocks told apart by their motion, on recordings of two joints by others.

The knee of Fan et al. (2021) and the robot's joint of Webering et al. (2023): two
sensors each that were sampled together, so that a shift put into one of them is known.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis.sensor_clocks import clock_warnings
from twinangle.signals.recording import InertialRecording, SensorPair

DATA = Path(__file__).resolve().parents[2] / "../shared/data"
RECORDINGS = {
    "robot-joint-imu": ("circle_150_segment_1.csv", "circle_150_segment_2.csv", 125.0),
    "knee-jump-left": ("left_segment_b_imu.csv", "left_segment_a_imu.csv", 100.0),
}


def sensor(path: Path, rate_hz: float, n_samples: int) -> InertialRecording:
    frame = pd.read_csv(path)[:n_samples]
    gyroscope = frame[["gyr_x", "gyr_y", "gyr_z"]].to_numpy()
    return InertialRecording(gyroscope + 9.81, gyroscope, None, 0.0, rate_hz, path.name)


def pair_of(folder: str, shift_s: float) -> SensorPair:
    """Return the pair with the distal sensor `shift_s` too late on the common clock."""
    if not (DATA / folder).is_dir():
        pytest.skip(f"../shared/data/{folder} is absent")
    first, second, rate_hz = RECORDINGS[folder]
    n_samples = min(len(pd.read_csv(DATA / folder / name)) for name in (first, second))
    proximal, distal = (sensor(DATA / folder / n, rate_hz, n_samples) for n in (first, second))
    moved = np.full_like(distal.gyroscope, np.nan)
    by = round(shift_s * rate_hz)
    moved[max(by, 0) : n_samples + min(by, 0)] = distal.gyroscope[
        max(-by, 0) : n_samples + min(-by, 0)
    ]
    late = InertialRecording(moved + 9.81, moved, None, 0.0, rate_hz, distal.source)
    return SensorPair(proximal, late)


@pytest.mark.parametrize("folder", RECORDINGS)
def test_sensors_on_one_clock_bring_no_warning(folder):
    assert clock_warnings(pair_of(folder, 0.0)) == ()


@pytest.mark.parametrize("folder", RECORDINGS)
@pytest.mark.parametrize("shift_s", [0.2, -0.4])
def test_a_shift_of_tenths_of_a_second_is_found(folder, shift_s):
    (text,) = clock_warnings(pair_of(folder, shift_s))

    found = float(text.split("moved by ")[1].split(" s;")[0])
    assert found == pytest.approx(-shift_s, abs=0.11)


def test_sensors_that_hardly_move_say_nothing():
    rng = np.random.default_rng(3)
    still = [
        InertialRecording(x + 9.81, x, None, 0.0, 100.0, "still")
        for x in 1e-3 * rng.normal(size=(2, 3000, 3))
    ]

    assert clock_warnings(SensorPair(*still)) == ()
