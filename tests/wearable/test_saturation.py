"""Ceilings of calibrated channels are found by their shape, named, and seen before axes are."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from twinangle.analysis import run_study
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import frame
from twinangle.signals.recording import (
    InertialRecording,
    Interval,
    OrientationPair,
    SensorPair,
)
from twinangle.simulate import simulate_walk
from twinangle.simulate.demo import write_demo_study
from twinangle.study import read_study
from twinangle.wearable import quaternions
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.quality.device import device_quality
from twinangle.wearable.saturation import find_ceilings
from twinangle.wearable.vertical import vertical_tilt_deg, vertical_warnings

DATA = Path(__file__).resolve().parents[2] / "../shared/data"


def night(*values):
    """Return a case that is left to the night."""
    return pytest.param(*values, marks=pytest.mark.nightly)


def walk(seed, rate_hz=100.0, walk_s=40.0):
    rng = np.random.default_rng([seed, 4])
    return simulate_walk(rng=rng, rate_hz=rate_hz, walk_s=walk_s, with_reference=False)


def cut_off(values, share, *, turn_deg=0.0, dither=0.003, seed=0):
    """Cut at the level that `share` of the samples exceed; calibrate, which makes it dither."""
    rng = np.random.default_rng(seed)
    level = float(np.quantile(np.abs(values).max(axis=1), 1 - share))
    cut = np.clip(values, -level, level)
    mixed = cut @ (np.eye(3) + rng.normal(0, 0.005, (3, 3))).T
    turn = Rotation.from_rotvec(np.radians(turn_deg) * np.array([0.48, 0.6, 0.64])).as_matrix()
    return (mixed * (1 + dither * rng.standard_normal(cut.shape))) @ turn.T, level


@pytest.mark.parametrize(
    ("rate_hz", "share"),
    [
        (50.0, 0.1), (100.0, 0.05), (100.0, 0.1), (100.0, 0.2), (200.0, 0.1),
        night(50.0, 0.05), night(50.0, 0.2), night(200.0, 0.05), night(200.0, 0.2),
    ],
)  # fmt: skip
def test_a_dithering_gyroscope_ceiling_is_named(share, rate_hz):
    sensor = walk(1, rate_hz).sensors.distal
    rate, level = cut_off(sensor.gyroscope, share)
    assert np.unique(rate).size > 600  # nothing is stuck at one value
    quality = device_quality(replace(sensor, gyroscope=rate))
    (text,) = (text for text in quality.warnings if "saturated" in text)
    axis = "xyz"[int(np.argmax((np.abs(sensor.gyroscope) >= level).sum(axis=0)))]
    assert f"gyroscope saturated along +{axis}" in text or f"along −{axis}" in text
    found = find_ceilings(replace(sensor, gyroscope=rate))
    assert np.degrees(found[0].level) == pytest.approx(np.degrees(level), rel=0.03)
    beyond = float((np.abs(sensor.gyroscope) >= level).mean(axis=0).sum())
    assert 0.6 * beyond < sum(one.share for one in found) < 1.2 * beyond
    assert 0.5 * share < quality.saturated_share < 1.2 * share


@pytest.mark.parametrize("turn_deg", [20.0, 60.0])
def test_a_ceiling_is_found_where_calibration_turned_the_axes(turn_deg):
    sensor = walk(2).sensors.distal
    rate, level = cut_off(sensor.gyroscope, 0.15, turn_deg=turn_deg)
    found = find_ceilings(replace(sensor, gyroscope=rate))
    assert found
    assert found[0].level == pytest.approx(level, rel=0.06)
    turn = Rotation.from_rotvec(np.radians(turn_deg) * np.array([0.48, 0.6, 0.64]))
    raw = np.abs(turn.inv().apply(found[0].direction))
    assert np.degrees(np.arccos(raw.max())) < 6.0  # along one of the device's own axes


def test_an_accelerometer_ceiling_is_named():
    sensor = walk(3, 200.0).sensors.distal
    force, level = cut_off(sensor.accelerometer, 0.02)
    found = find_ceilings(replace(sensor, accelerometer=force))
    assert {one.instrument for one in found} == {"accelerometer"}
    assert found[0].level == pytest.approx(level, rel=0.03)


@pytest.mark.parametrize("rate_hz", [50.0, 128.0, 400.0])
@pytest.mark.parametrize("seed", [0, 1, night(2), night(3)])
def test_honest_walks_bring_no_alarm(rate_hz, seed):
    pair = walk(seed, rate_hz, walk_s=25.0).sensors
    assert find_ceilings(pair.proximal) == ()
    assert find_ceilings(pair.distal) == ()


def test_a_saturated_sensor_is_never_called_left_handed():
    """A mirrored frame that is cut off as well: what is sure comes first."""
    trial = walk(5)
    sensor = trial.sensors.distal
    rate, _ = cut_off(-sensor.gyroscope, 0.05)
    pair = SensorPair(trial.sensors.proximal, replace(sensor, gyroscope=rate))
    _, found = frame(Evidence(sensors=pair))
    assert found.verdict in ("contradicted", "doubtful")
    assert "gyroscope saturated along" in found.said
    assert "right-handed" not in found.said


def test_a_lost_vertical_is_told():
    trial = walk(6)
    sensor = trial.sensors.distal
    level = 0.35 * np.abs(sensor.gyroscope).max()
    cut = replace(sensor, gyroscope=np.clip(sensor.gyroscope, -level, level))
    assert np.nanmax(vertical_tilt_deg(sensor, vqf_offline(sensor))) < 8.0
    pair = SensorPair(trial.sensors.proximal, cut)
    motion = estimate_motion(WearableTrial(pair, trial.static, trial.functional), "kalman")
    (told,) = (text for text in motion.warnings if "vertical" in text)
    assert told.startswith("distal sensor: the vertical contradicted the mean specific force")


def test_a_vertical_found_again_by_the_filter_is_told_of_once():
    """The filter's own warning stands; what it has not told of is told all the same."""
    trial = walk(6)
    sensor = trial.sensors.distal
    turned = vqf_offline(sensor)
    half_turn = np.array([0.0, 1.0, 0.0, 0.0])
    lost = turned.quaternion.copy()
    rate = sensor.rate_hz
    for begin_s, end_s in ((20, 24), (36, 40)):
        part = slice(round(begin_s * rate), round(end_s * rate))
        lost[part] = quaternions.multiply(half_turn, lost[part])
    start = sensor.start_s
    told = replace(turned, quaternion=lost, levelled=(Interval(start + 19, start + 24),))
    proximal = vqf_offline(trial.sensors.proximal)
    both, silent = (
        vertical_warnings(trial.sensors, OrientationPair(proximal, one))
        for one in (replace(told, levelled=()), told)
    )
    assert [text.split(" s in all")[0].split()[-1] for text in (*both, *silent)] == ["8", "4"]
    assert "over 36 to 40 s" in silent[0]


def test_a_run_names_the_saturated_sensor_first(tmp_path):
    write_demo_study(tmp_path / "study", participants=1, conditions=("indoor",), walk_s=25.0)
    (file,) = (tmp_path / "study" / "wearable").iterdir()
    frame = pd.read_csv(file)
    columns = [name for name in frame.columns if "shank" in name and "gyr" in name]
    frame[columns] = cut_off(frame[columns].to_numpy(), 0.18)[0]
    frame.to_csv(file, index=False)
    trials = run_study(read_study(tmp_path / "study")).trials
    assert trials
    for trial in trials:
        told = " ".join((trial.reason, *trial.warnings))
        assert "distal sensor" in told
        assert "gyroscope saturated along" in told
        assert "right-handed" not in told


def open_sensors():
    """Open recordings: see PROVENANCE.md in each folder of ../shared/data."""
    broad = DATA / "broad"
    if not broad.is_dir():  # two of the trials; the others are looked for beside the repository
        broad = Path(__file__).resolve().parents[2] / "reference_data/broad"
    for path in sorted(broad.glob("*.npz")):
        data = np.load(path)
        yield InertialRecording(data["imu_acc"], data["imu_gyr"], None, 0.0, 285.714, path.stem)
    for folder, rate_hz in (("robot-joint-imu", 125.0), ("knee-jump-left", 100.0)):
        for path in sorted((DATA / folder).glob("*segment_*.csv")):
            data = pd.read_csv(path)
            force, rate = (data[[f"{k}_{a}" for a in "xyz"]].to_numpy() for k in ("acc", "gyr"))
            yield InertialRecording(force, rate, None, 0.0, rate_hz, path.stem)


def test_open_recordings_within_their_range_bring_no_alarm():
    sensors = list(open_sensors())
    assert len(sensors) >= 2
    for sensor in sensors:
        assert find_ceilings(sensor) == (), sensor.source


@pytest.mark.parametrize("name", ["ccw_fast_01", "ccw_normal_01", "cw_normal_01", "ccw_slow_04"])
def test_open_walks_show_the_two_g_of_their_thigh_accelerometer(name):
    """Camargo et al. (2021), J Biomech 119:110320 (from memory): cut at 2 g, dithering by 1 %."""
    file = DATA / "walking-knee-optical" / f"{name}_imu.csv.gz"
    if not file.is_file():
        pytest.skip("../shared/data/walking-knee-optical is absent")
    frame = pd.read_csv(file)
    for segment in ("thigh", "shank"):
        columns = [c for c in frame.columns if segment in c.lower()]
        force = frame[[c for c in columns if "acc" in c.lower()]].to_numpy() * 9.80665
        rate = frame[[c for c in columns if "gyr" in c.lower()]].to_numpy()
        found = find_ceilings(InertialRecording(force, rate, None, 0.0, 200.0, name))
        if segment == "shank":
            assert found == ()
        else:
            (one,) = found
            assert one.instrument == "accelerometer"
            assert one.level == pytest.approx(2 * 9.80665, rel=0.02)
