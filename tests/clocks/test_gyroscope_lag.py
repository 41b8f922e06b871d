"""The lag from the gyroscopes: simulated sensors whose clock is known, and a real knee."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.clocks import by_gyroscopes, gyroscope_lag, manual, shared_clock, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, InertialRecording, SensorPair
from twinangle.simulate import simulate_walk

LAG_S, DRIFT_PPM = 1.4, 40.0


@pytest.fixture(scope="module")
def walk():
    return simulate_walk(rng=np.random.default_rng(2), lag_s=LAG_S, drift_ppm=DRIFT_PPM)


@pytest.fixture(scope="module")
def other_walk():
    """The same walk by sensors that give means over the interval before each sample."""
    return simulate_walk(
        rng=np.random.default_rng(2),
        lag_s=LAG_S,
        drift_ppm=DRIFT_PPM,
        gyroscope_sample="interval-mean",
    )


def late(angle, by_s):
    """Return what a procedure that delays the angle would deliver."""
    values = np.interp(angle.time_s - by_s, angle.time_s, angle.angle_deg)
    return AngleRecording(values, angle.start_s, angle.rate_hz, "delayed angle")


@pytest.mark.parametrize("by_s", [0.0, 0.015, -0.008])
def test_a_delay_of_the_angle_is_the_difference_of_the_lags(walk, by_s):
    clock = synchronise(late(walk.truth.knee, by_s), walk.reference)

    found = gyroscope_lag(walk.sensors, walk.reference, clock)

    assert_allclose(found.difference_s, by_s, atol=0.0003)
    assert_allclose(found.lag_s, LAG_S + found.centre_s * DRIFT_PPM * 1e-6, atol=0.0002)
    assert found.correlation > 0.99
    assert found.disagree == (by_s != 0.0)
    assert f"{1e3 * found.difference_s:+.1f} ms" in found.summary()


def test_the_gyroscopes_clock_leaves_the_delay_to_the_procedure(walk):
    clock = synchronise(late(walk.truth.knee, 0.02), walk.reference)

    kept = by_gyroscopes(clock, gyroscope_lag(walk.sensors, walk.reference, clock))

    assert_allclose(kept.to_wearable(np.array(60.0)), 60 + LAG_S + 60 * DRIFT_PPM * 1e-6, atol=3e-4)
    assert_allclose(clock.to_wearable(np.array(60.0)) - kept.to_wearable(np.array(60.0)), 0.02,
                    atol=4e-4)  # fmt: skip
    assert kept.method == "cross-correlation, gyroscopes"


def test_means_over_the_interval_are_read_half_an_interval_earlier(other_walk):
    clock = synchronise(other_walk.truth.knee, other_walk.reference)
    sensors = other_walk.sensors
    wrong = SensorPair(
        *(
            replace(sensor, gyroscope_sample="instantaneous")
            for sensor in (sensors.proximal, sensors.distal)
        )
    )

    right = gyroscope_lag(sensors, other_walk.reference, clock)
    declared_wrongly = gyroscope_lag(wrong, other_walk.reference, clock)

    half_an_interval = 0.5 / sensors.distal.rate_hz
    assert_allclose(right.difference_s, 0.0, atol=0.0003)
    assert_allclose(declared_wrongly.difference_s, -half_an_interval, atol=0.0004)
    assert declared_wrongly.disagree


def test_neither_mounting_nor_scale_nor_bias_matters(walk):
    clock = synchronise(walk.truth.knee, walk.reference)
    before = gyroscope_lag(walk.sensors, walk.reference, clock)
    rng = np.random.default_rng(8)

    def mounted_elsewhere(sensor):
        rate = Rotation.random(rng=rng).apply(np.array(sensor.gyroscope))
        return replace(sensor, gyroscope=1.3 * rate + rng.normal(0, 0.05, 3))

    moved = SensorPair(
        mounted_elsewhere(walk.sensors.proximal), mounted_elsewhere(walk.sensors.distal)
    )
    after = gyroscope_lag(moved, walk.reference, clock)

    assert_allclose(after.lag_s, before.lag_s, atol=1e-6)
    assert_allclose(after.lag_se_s, before.lag_se_s, rtol=1e-3)


def test_moving_the_reference_clock_moves_the_lag_by_as_much(walk):
    clock = synchronise(walk.truth.knee, walk.reference)
    before = gyroscope_lag(walk.sensors, walk.reference, clock)
    moved = replace(walk.reference, start_s=walk.reference.start_s + 5.0)
    shifted = replace(
        clock, lag_s=clock.lag_s - 5.0 * (1 + clock.drift_ppm * 1e-6), centre_s=clock.centre_s + 5.0
    )

    after = gyroscope_lag(walk.sensors, moved, shifted)

    assert_allclose(after.difference_s, before.difference_s, atol=1e-6)
    assert_allclose(after.lag_s, before.lag_s - 5.0, atol=1e-6)


def test_a_gap_in_one_sensor_is_left_out(walk):
    clock = synchronise(walk.truth.knee, walk.reference)
    holed = np.array(walk.sensors.distal.gyroscope)
    holed[3000:3400] = np.nan
    sensors = SensorPair(walk.sensors.proximal, replace(walk.sensors.distal, gyroscope=holed))

    found = gyroscope_lag(sensors, walk.reference, clock)

    assert_allclose(found.difference_s, 0.0, atol=0.0005)


def test_sensors_of_another_movement_are_refused(walk):
    other = simulate_walk(rng=np.random.default_rng(11), stride_s=0.9)
    clock = synchronise(walk.truth.knee, walk.reference)

    with pytest.raises(SynchronisationError, match=r"explain little|fit no lag within"):
        gyroscope_lag(other.sensors, walk.reference, clock)


def test_of_a_long_recording_the_busiest_stretch_counts(walk):
    """Two hours, the walk near their end: no motion in the middle of the overlap."""
    rate_hz, before = walk.sensors.distal.rate_hz, 6000
    rng = np.random.default_rng(3)

    def preceded(sensor):
        n = int(before * rate_hz)
        rest = [
            np.repeat(values[:1], n, axis=0) for values in (sensor.accelerometer, sensor.gyroscope)
        ]
        rest[1] = rest[1] + 0.002 * rng.standard_normal(rest[1].shape)
        return InertialRecording(
            np.concatenate([rest[0], sensor.accelerometer]),
            np.concatenate([rest[1], sensor.gyroscope]),
            None,
            sensor.start_s - before,
            rate_hz,
            sensor.source,
        )

    still = np.full(int(before * walk.reference.rate_hz), walk.reference.angle_deg[0])
    reference = replace(
        walk.reference,
        angle_deg=np.concatenate([still, walk.reference.angle_deg]),
        start_s=walk.reference.start_s - before,
    )
    clock = synchronise(late(walk.truth.knee, 0.01), walk.reference)

    found = gyroscope_lag(
        SensorPair(preceded(walk.sensors.proximal), preceded(walk.sensors.distal)), reference, clock
    )

    assert_allclose(found.difference_s, 0.01, atol=0.0003)


def test_too_short_an_overlap_is_refused(walk):
    with pytest.raises(SynchronisationError, match=r"overlap holds \d+ usable samples"):
        gyroscope_lag(walk.sensors, walk.reference, manual(walk.truth.knee.end_s - 2.0))


@pytest.mark.parametrize("confidence", [0.0, 1.0])
def test_confidence_must_be_a_share(walk, confidence):
    with pytest.raises(ValueError, match="`confidence` must lie between 0 and 1"):
        gyroscope_lag(walk.sensors, walk.reference, shared_clock(), confidence=confidence)


def test_real_jumps_tell_what_the_gyroscopes_samples_stand_for():
    """Fan et al. 2021, J Biomech 124:110549: sensors and optical system on one 100 Hz clock.

    Read as means over the interval before the stamp the two agree to about 1 ms; read as
    instantaneous they part by 5 ms more, half an interval.
    """
    folder = Path(__file__).resolve().parents[2] / "../shared/data/knee-jump-left"
    if not folder.exists():
        pytest.skip("../shared/data/knee-jump-left is absent")
    optical = np.genfromtxt(folder / "left_knee_optical.csv", delimiter=",", skip_header=1)
    reference = AngleRecording(-optical[:, 1], 0.0, 100.0, "optical")

    def sensor(letter, sample):
        table = np.genfromtxt(
            folder / f"left_segment_{letter}_imu.csv", delimiter=",", skip_header=1
        )
        return InertialRecording(table[:, 1:4], table[:, 4:7], None, 0.0, 100.0, letter, sample)

    mean, instant = (
        gyroscope_lag(SensorPair(sensor("b", kind), sensor("a", kind)), reference, shared_clock())
        for kind in ("interval-mean", "instantaneous")
    )

    assert mean.correlation > 0.999
    assert abs(mean.lag_s) < 0.002
    assert not mean.disagree
    assert_allclose(instant.lag_s - mean.lag_s, 0.005, atol=0.0002)
    assert instant.disagree
