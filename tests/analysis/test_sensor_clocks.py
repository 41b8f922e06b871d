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
from twinangle.simulate import simulate_walk

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

    found = float(text.split("moved by ")[1].split(" s")[0])
    assert found == pytest.approx(-shift_s, abs=0.11)


def test_sensors_that_hardly_move_say_nothing():
    rng = np.random.default_rng(3)
    still = [
        InertialRecording(x + 9.81, x, None, 0.0, 100.0, "still")
        for x in 1e-3 * rng.normal(size=(2, 3000, 3))
    ]

    assert clock_warnings(SensorPair(*still)) == ()


@pytest.mark.parametrize(
    "seed", [30, *(pytest.param(seed, marks=pytest.mark.nightly) for seed in (22, 52))]
)
def test_skin_and_rotation_out_of_the_plane_bring_no_warning_and_hide_no_shift(seed):
    """Invented walks in which the hinge's residual alone lay lowest 0.1 s beside the true lag."""
    rng = np.random.default_rng([seed, 9])
    pair = simulate_walk(
        rng=rng,
        rate_hz=50.0,
        with_reference=False,
        walk_s=60.0,
        soft_tissue_deg=rng.uniform(0, 3),
        out_of_plane_deg=rng.uniform(0, 8),
        stride_s=rng.uniform(0.95, 1.3),
        speed_m_s=rng.uniform(0.9, 1.6),
    ).sensors
    assert clock_warnings(pair) == ()
    late = [
        InertialRecording(one.gyroscope[cut], one.gyroscope[cut], None, 0.0, 50.0, "late")
        for one, cut in ((pair.proximal, slice(10, None)), (pair.distal, slice(None, -10)))
    ]
    (text,) = clock_warnings(SensorPair(*late))
    found = float(text.split("moved by ")[1].split(" s")[0])
    assert found == pytest.approx(-0.2, abs=0.04)


@pytest.mark.parametrize("name", ["ccw_fast_01", "cw_normal_01", "cw_slow_05", "ccw_normal_02"])
def test_recorded_walks_on_one_clock_bring_no_warning(name):
    file = DATA / "walking-knee-optical" / f"{name}_imu.csv.gz"
    if not file.is_file():
        pytest.skip("../shared/data/walking-knee-optical is absent")
    frame = pd.read_csv(file)
    sensors = []
    for segment in ("thigh", "shank"):
        columns = [c for c in frame.columns if segment in c.lower() and "gyr" in c.lower()]
        rate = frame[columns].to_numpy()
        sensors.append(InertialRecording(rate, rate, None, 0.0, 200.0, name))
    assert clock_warnings(SensorPair(*sensors)) == ()
