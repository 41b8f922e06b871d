"""Two sensors that help each other: common vertical, common field; walks with known truth."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.signals.recording import OrientationPair, SensorPair
from twinangle.simulate import simulate_walk
from twinangle.wearable import quaternions
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.heading.relative_tilt import level_together
from twinangle.wearable.heading.two_sensors import common_weights, orient_jointly
from twinangle.wearable.orientation import kalman, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion


@pytest.fixture(scope="module")
def floor():
    return simulate_walk(rng=np.random.default_rng(70), walk_s=40.0, floor_ut=10.0)


def headings_deg(pair, truth):
    found = []
    for ours, true in ((pair.proximal, truth.proximal), (pair.distal, truth.distal)):
        error = quaternions.multiply(ours.quaternion, quaternions.conjugate(true.quaternion))
        turn = np.degrees(2 * np.arctan2(error[:, 3], error[:, 0]))
        found.append((turn + 180) % 360 - 180)
    return np.array(found)


def rms(values):
    return np.sqrt(np.mean(np.square(values), axis=-1))


def test_weights_are_those_of_least_variance():
    """Aitken 1935: no other pair of weights that sum to 1 gives a smaller variance."""
    rng = np.random.default_rng(1)
    floor = rng.normal(size=4000)
    deviation = np.stack([floor, 2.2 * floor]) + 0.2 * rng.normal(size=(2, 4000))
    weights = common_weights(deviation, 0.0, 0.4)
    assert weights.sum() == pytest.approx(1.0)
    least = np.var(weights @ deviation)
    for step in (-0.1, 0.1):
        assert np.var((weights + np.array([step, -step])) @ deviation) > least


def test_weights_of_two_fields_that_tell_the_same_are_equal():
    rng = np.random.default_rng(2)
    np.testing.assert_allclose(
        common_weights(rng.normal(size=(2, 20000)), 0.0, 0.4), [0.5, 0.5], atol=0.01
    )


def test_an_unsure_relative_heading_forbids_extrapolation():
    floor = np.random.default_rng(3).normal(size=1000) * 0.05
    deviation = np.stack([floor, 2 * floor])
    assert common_weights(deviation, 0.0, 0.4)[0] == pytest.approx(2.0, abs=0.01)
    assert common_weights(deviation, 90.0, 0.4)[0] < 0.6


def test_both_headings_are_better_over_iron_in_the_floor(floor):
    alone = OrientationPair(kalman(floor.sensors.proximal), kalman(floor.sensors.distal))
    found = orient_jointly(floor.sensors)
    before, after = (headings_deg(pair, floor.truth.sensors) for pair in (alone, found.pair))
    assert found.joint
    assert found.proximal_weight > 1  # extrapolated away from the floor
    assert rms(after).max() < rms(before).max()
    assert rms(after[1] - after[0]) < 0.5 * rms(before[1] - before[0])
    assert rms(after[1] - after[0]) < 2 * found.relative_uncertainty_deg


def test_each_heading_holds_within_its_limit_over_iron_in_the_floor():
    """10 µT at floor level: 9° of spread in the shank's magnetic heading, 1.7° with one sensor."""
    errors = []
    for seed in range(72, 76):
        walk = simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, floor_ut=10.0)
        errors.append(headings_deg(orient_jointly(walk.sensors).pair, walk.truth.sensors))
    assert rms(np.concatenate(errors, axis=1)).max() < 0.6


def test_two_clean_fields_are_better_than_one():
    walk = simulate_walk(rng=np.random.default_rng(76), walk_s=40.0)
    alone = OrientationPair(kalman(walk.sensors.proximal), kalman(walk.sensors.distal))
    before, after = (
        headings_deg(pair, walk.truth.sensors)
        for pair in (alone, orient_jointly(walk.sensors).pair)
    )
    assert rms(after[1] - after[0]) < rms(before[1] - before[0])


def test_standing_leaves_each_sensor_alone_and_says_so(floor):
    standing = slice(0, 600)

    def cut(sensor):
        return replace(
            sensor,
            accelerometer=sensor.accelerometer[standing],
            gyroscope=sensor.gyroscope[standing],
            magnetometer=sensor.magnetometer[standing],
        )

    pair = SensorPair(cut(floor.sensors.proximal), cut(floor.sensors.distal))
    found = orient_jointly(pair)
    assert not found.joint
    assert "own magnetic field alone" in found.warnings[0]
    np.testing.assert_array_equal(found.pair.distal.quaternion, kalman(pair.distal).quaternion)


def test_without_readings_of_one_magnetometer_the_own_field_stands_in(floor):
    holed = np.array(floor.sensors.distal.magnetometer)
    holed[3000:3300] = np.nan
    pair = SensorPair(floor.sensors.proximal, replace(floor.sensors.distal, magnetometer=holed))
    found = orient_jointly(pair)
    errors = headings_deg(found.pair, floor.truth.sensors)
    whole = headings_deg(orient_jointly(floor.sensors).pair, floor.truth.sensors)
    assert np.isfinite(errors).all()
    assert rms(errors - whole).max() < 0.5


@pytest.mark.parametrize("tilt_deg", [0.3, -1.0])
@pytest.mark.parametrize("side", ["proximal", "distal"])
def test_a_tilt_of_one_sensor_is_shared_by_both(floor, tilt_deg, side):
    """A known turn about east of one true orientation: halved, and the two verticals agree."""
    truth = floor.truth.sensors
    turn = quaternions.about_axis(np.array([1.0, 0.0, 0.0]), np.radians([tilt_deg]))
    one = getattr(truth, side)
    tilted = replace(
        truth, **{side: replace(one, quaternion=quaternions.multiply(turn, one.quaternion))}
    )
    heading = joint_centre_heading(floor.sensors, truth)
    plain, level = (level_together(floor.sensors, pair, heading) for pair in (truth, tilted))
    for name in ("proximal", "distal"):
        moved = quaternions.multiply(
            getattr(level, name).quaternion,
            quaternions.conjugate(getattr(plain, name).quaternion),
        )
        about_east = np.degrees(quaternions.rotation_vector(moved)[:, 0])
        assert np.median(about_east) == pytest.approx(tilt_deg / 2, abs=0.05)


@pytest.mark.parametrize("filter_name", ["kalman", "vqf"])
def test_a_runner_does_not_tilt_the_joint(filter_name):
    """One common acceleration: without the common vertical 0.9° with `kalman` on such runs."""
    walk = simulate_walk(
        rng=np.random.default_rng(71),
        walk_s=40.0,
        stride_s=0.75,
        speed_m_s=2.5,
        soft_tissue_deg=1.0,
    )
    trial = WearableTrial(walk.sensors, walk.static, walk.functional)
    true = WearableTrial(walk.truth.sensors, walk.static, walk.functional)
    ours = estimate_motion(trial, f"{filter_name}-joint-centre").angle.angle_deg
    assert np.std(ours - estimate_motion(true, "orientation").angle.angle_deg) < 0.3


def test_the_vertical_stays_where_one_sensor_has_no_signal(floor):
    lost = np.array(floor.sensors.distal.accelerometer)
    lost[4000:6000] = np.nan
    sensors = SensorPair(floor.sensors.proximal, replace(floor.sensors.distal, accelerometer=lost))
    pair = OrientationPair(
        *(vqf_offline(one.without_magnetometer()) for one in (sensors.proximal, sensors.distal))
    )
    heading = joint_centre_heading(sensors, pair)
    level = level_together(sensors, heading.apply(pair), heading)
    np.testing.assert_allclose(
        level.proximal.quaternion[4700:5300], pair.proximal.quaternion[4700:5300], atol=1e-12
    )
