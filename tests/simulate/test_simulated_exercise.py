"""Simulated exercises obey mechanics and say what their truth is (all invented)."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.simulate import SensorErrors, simulate_exercise
from twinangle.simulate.body import SHANK_M, THIGH_M
from twinangle.simulate.repetitions import ArmExercise, LegExercise, plan_repetitions

MOVEMENTS = ["curl", "squat", "seated-extension"]


def repetitions(seed=1):
    return plan_repetitions(
        rng=np.random.default_rng(seed),
        standing_s=6.0,
        functional_repetitions=2,
        functional_deg=60.0,
        sets=2,
        repetitions=3,
        repetition_s=3.0,
        repetition_cv=0.05,
        rest_s=4.0,
        size_deg=80.0,
        size_sd_deg=4.0,
    )


@pytest.fixture(scope="module", params=MOVEMENTS)
def perfect(request):
    return simulate_exercise(
        rng=np.random.default_rng(3),
        movement=request.param,
        sets=1,
        repetitions=3,
        functional_repetitions=2,
        sensor_errors=SensorErrors.none(),
        rate_hz=100.0,
    )


@pytest.mark.parametrize("which", ["proximal", "distal"])
def test_integrating_the_gyroscope_gives_the_orientation_back(perfect, which):
    begin = int(100.0 * perfect.truth.starts_s[0])
    repetition = slice(begin, begin + 250)
    rate = getattr(perfect.sensors, which).gyroscope[repetition]
    quaternion = getattr(perfect.truth.sensors, which).quaternion[repetition]
    true = Rotation.from_quat(quaternion, scalar_first=True)
    turned = true[0]
    for step in Rotation.from_rotvec(0.5 * (rate[1:] + rate[:-1]) / 100.0):
        turned = turned * step
    assert np.degrees((turned.inv() * true[-1]).magnitude()) < 0.2  # the trapezoid at 10 ms


@pytest.mark.parametrize("which", ["proximal", "distal"])
def test_at_rest_one_gravity_is_felt_upwards(perfect, which):
    quaternion = getattr(perfect.truth.sensors, which).quaternion[150:500]
    force = getattr(perfect.sensors, which).accelerometer[150:500]
    up = Rotation.from_quat(quaternion, scalar_first=True).apply(np.array(force))
    assert_allclose(up.mean(axis=0), [0.0, 0.0, 9.81], atol=0.02)


@pytest.mark.parametrize("movement", MOVEMENTS)
def test_the_true_angle_is_the_segments_flexion(movement):
    """The first angle of the joint's sequence, as Grood & Suntay (1983) order it."""
    done = repetitions()
    if movement == "curl":
        body, names, sequence, sign = ArmExercise(done, "left", 0.4, 70.0, 6.0), (
            "upper arm", "forearm"), "YXZ", -1.0  # fmt: skip
    else:
        body, names, sequence, sign = LegExercise(done, movement, "right", 1.1, 3.0), (
            "thigh", "shank"), "YXZ", 1.0  # fmt: skip
    time = np.arange(0.0, done.duration_s, 0.05)
    pose = body.pose(time)
    joint = pose.rotation[names[0]].inv() * pose.rotation[names[1]]
    flexion = sign * np.unwrap(joint.as_euler(sequence)[:, 0])
    assert_allclose(np.degrees(flexion), body.angle_deg(time), atol=1e-6)


def test_the_ankle_stands_still_in_a_squat():
    done = repetitions()
    body = LegExercise(done, "squat", "left", 0.3, 0.0)
    time = np.arange(done.sets[0].start_s, done.sets[0].end_s, 0.05)
    pose = body.pose(time)
    knee = pose.joint_m["thigh"] + pose.rotation["thigh"].apply([0.0, 0.0, -THIGH_M])
    ankle = knee + pose.rotation["shank"].apply([0.0, 0.0, -SHANK_M])
    assert np.ptp(ankle, axis=0).max() < 0.01  # the body sways by 0.3 degrees


def test_the_same_seed_gives_the_same_recording_and_bad_settings_are_refused():
    one, other = (
        simulate_exercise(rng=np.random.default_rng(7), sets=1, repetitions=2, rate_hz=50.0)
        for _ in range(2)
    )
    assert one.joint == "elbow"
    assert (one.sensors.distal.gyroscope == other.sensors.distal.gyroscope).all()
    assert (one.reference.angle_deg == other.reference.angle_deg).all()
    assert one.truth.curves_deg.shape == (2, 101)
    with pytest.raises(ValueError, match="movement"):
        simulate_exercise(rng=np.random.default_rng(7), movement="jump")
    with pytest.raises(ValueError, match="repetitions"):
        simulate_exercise(rng=np.random.default_rng(7), repetitions=0)
