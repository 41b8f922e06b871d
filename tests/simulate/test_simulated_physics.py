"""The simulated sensors obey mechanics: each signal follows from the same rigid motion."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import Array, InertialRecording, OrientationRecording
from twinangle.simulate import SensorErrors, SimulatedTrial, simulate_walk
from twinangle.simulate.body import turned_in_order
from twinangle.simulate.earth_field import make_field
from twinangle.simulate.instrument_signals import acceleration, angular_rate

BOTH = ("proximal", "distal")


def rotation(recording: OrientationRecording) -> Rotation:
    return Rotation.from_quat(recording.quaternion, scalar_first=True)


def in_earth(trial: SimulatedTrial, which: str, values: Array) -> Array:
    # scipy's apply asks for a writable array.
    return np.asarray(rotation(getattr(trial.truth.sensors, which)).apply(np.array(values)))


def sensor(trial: SimulatedTrial, which: str) -> InertialRecording:
    recording: InertialRecording = getattr(trial.sensors, which)
    return recording


@pytest.mark.parametrize("which", BOTH)
def test_integrating_the_gyroscope_gives_the_orientation_back(
    perfect_trial: SimulatedTrial, which: str
) -> None:
    recording = sensor(perfect_trial, which)
    true = rotation(getattr(perfect_trial.truth.sensors, which))
    mean = 0.5 * (recording.gyroscope[1:] + recording.gyroscope[:-1])
    turned = true[0]
    worst = 0.0
    for k, step in enumerate(Rotation.from_rotvec(mean / recording.rate_hz), start=1):
        turned = turned * step
        if k % 500 == 0:
            worst = max(worst, float((turned.inv() * true[k]).magnitude()))

    # The trapezoid at 2 ms; a whole-sample slip of the rate would cost several degrees in walking.
    assert np.degrees(worst) < 0.05


def test_interval_means_chain_to_the_orientation_exactly() -> None:
    trial = simulate_walk(
        rng=np.random.default_rng(2),
        walk_s=8.0,
        gyroscope_sample="interval-mean",
        sensor_errors=SensorErrors.none(),
    )
    true = rotation(trial.truth.sensors.distal)
    steps = Rotation.from_rotvec(trial.sensors.distal.gyroscope[1:] / 100.0)

    assert np.max((true[:-1] * steps * true[1:].inv()).magnitude()) < 1e-12
    assert trial.sensors.distal.gyroscope_sample == "interval-mean"


@pytest.mark.parametrize("which", BOTH)
def test_a_sensor_at_rest_feels_one_gravity_upwards(
    perfect_trial: SimulatedTrial, which: str
) -> None:
    still = slice(500, 3000)  # 1 to 6 s
    force = in_earth(perfect_trial, which, sensor(perfect_trial, which).accelerometer)[still]

    # 9.81 up; the body's own sway of 0.15° at 0.23 Hz moves the sensor by under 0.01 m/s².
    assert_allclose(force, np.broadcast_to([0.0, 0.0, 9.81], force.shape), atol=0.01)


@pytest.mark.parametrize("which", BOTH)
def test_a_walk_from_rest_to_rest_ends_without_velocity(
    perfect_trial: SimulatedTrial, which: str
) -> None:
    recording = sensor(perfect_trial, which)
    moving = in_earth(perfect_trial, which, recording.accelerometer) - [0.0, 0.0, 9.81]
    velocity = np.cumsum(0.5 * (moving[1:] + moving[:-1]), axis=0) / recording.rate_hz
    place = np.cumsum(velocity, axis=0) / recording.rate_hz

    assert_allclose(velocity[-1], 0.0, atol=0.01)
    assert_allclose(place[-1, 2], 0.0, atol=0.03)  # back at its height
    walked = np.linalg.norm(np.diff(place[:, :2], axis=0), axis=1).sum()
    assert walked > 1.3 * 10  # 18 s at 1.3 m/s, less start, stop and a slow turn


def test_the_accelerometer_sits_where_the_lever_arm_says() -> None:
    """Swinging the shank in the air: a point r from the knee feels −ω²r along the segment."""
    trial = simulate_walk(
        rng=np.random.default_rng(8), walk_s=8.0, sensor_errors=SensorErrors.none()
    )
    time_s = trial.truth.knee.time_s
    rate = np.linalg.norm(trial.sensors.distal.gyroscope, axis=1)
    k = int(np.argmax(np.where((time_s > 11) & (time_s < 20), rate, 0.0)))
    shank = rotation(trial.truth.segments.distal)[k]
    force = in_earth(trial, "distal", trial.sensors.distal.accelerometer)[k]
    along = shank.inv().apply(force - [0.0, 0.0, 9.81])[2]

    # 0.17 m below the knee, strapped to within 1 cm SD; the thigh itself barely moves.
    assert along / rate[k] ** 2 == pytest.approx(0.17, abs=0.035)


def test_without_out_of_plane_motion_the_knee_is_a_hinge(perfect_trial: SimulatedTrial) -> None:
    thigh, shank = (rotation(getattr(perfect_trial.truth.segments, which)) for which in BOTH)
    flexion = np.deg2rad(perfect_trial.truth.knee.angle_deg)
    hinge = Rotation.from_rotvec(flexion[:, None] * [0.0, 1.0, 0.0])

    assert np.max((thigh.inv() * shank * hinge.inv()).magnitude()) < 1e-12


def test_out_of_plane_motion_turns_the_shank_by_what_was_asked() -> None:
    trial = simulate_walk(rng=np.random.default_rng(4), walk_s=10.0, out_of_plane_deg=6.0)
    thigh, shank = (rotation(getattr(trial.truth.segments, which)) for which in BOTH)
    flexion, abduction, turned = (thigh.inv() * shank).as_euler("YXZ", degrees=True).T

    assert_allclose(flexion, trial.truth.knee.angle_deg, atol=1e-9)
    at_60 = np.argmin(np.abs(flexion - 60.0))
    assert_allclose([turned[at_60], abduction[at_60]], [6.0, 3.6], atol=0.05)


def test_the_mounting_takes_the_segment_to_the_sensor(perfect_trial: SimulatedTrial) -> None:
    truth = perfect_trial.truth
    for which, mounting in zip(BOTH, (truth.mounting_proximal, truth.mounting_distal), strict=True):
        segment = rotation(getattr(truth.segments, which))
        strapped = segment * Rotation.from_quat(mounting, scalar_first=True)
        own = rotation(getattr(truth.sensors, which))
        assert np.max((strapped.inv() * own).magnitude()) < 1e-12
    between = Rotation.from_quat(truth.mounting_proximal, scalar_first=True).inv()
    assert (
        between * Rotation.from_quat(truth.mounting_distal, scalar_first=True)
    ).magnitude() > 0.1


def test_skin_moves_in_walking_and_not_in_standing() -> None:
    trial = simulate_walk(rng=np.random.default_rng(4), walk_s=12.0, soft_tissue_deg=2.0)
    truth = trial.truth
    mounting = Rotation.from_quat(truth.mounting_distal, scalar_first=True)
    moved = (rotation(truth.segments.distal) * mounting).inv() * rotation(truth.sensors.distal)
    degrees = np.degrees(moved.magnitude())
    walking = truth.knee.time_s > truth.walking.start_s

    assert degrees[:700].max() < 1e-9
    assert 1.0 < degrees[walking].max() < 3.0


def test_a_clean_field_has_the_earths_norm_and_dip(perfect_trial: SimulatedTrial) -> None:
    for which in BOTH:
        magnetometer = sensor(perfect_trial, which).magnetometer
        assert magnetometer is not None
        field = in_earth(perfect_trial, which, magnetometer)
        dip = np.deg2rad(66.0)
        expected = 48.0 * np.array([0.0, np.cos(dip), -np.sin(dip)])
        assert_allclose(field, np.broadcast_to(expected, field.shape), atol=1e-9)


def test_iron_in_the_floor_disturbs_the_shank_more_than_the_thigh() -> None:
    trial = simulate_walk(
        rng=np.random.default_rng(6), floor_ut=9.0, sensor_errors=SensorErrors.none()
    )
    spread = []
    for which in BOTH:
        magnetometer = sensor(trial, which).magnetometer
        assert magnetometer is not None
        east, north, _ = in_earth(trial, which, magnetometer).T
        spread.append(float(np.degrees(np.std(np.arctan2(east, north)))))

    # de Vries et al. (2009), Gait Posture 29:535: heading SD 29° at 5 cm, 3° above 100 cm.
    thigh, shank = spread
    assert 3.0 < thigh < shank < 29.0
    assert shank > 1.5 * thigh


def test_heading_spread_over_the_floor_falls_as_published() -> None:
    # de Vries et al. (2009), Gait Posture 29:535: SD 29° at 5 cm and 3° above 100 cm.
    rng = np.random.default_rng(1)
    place = rng.uniform(-15.0, 15.0, (4000, 3))
    field = make_field(rng=rng, norm_ut=48.0, dip_deg=66.0, floor_ut=13.0)
    spread = []
    for height_m in (0.05, 1.1):
        place[:, 2] = height_m
        east, north, _ = field.at(place).T
        spread.append(np.degrees(np.std(np.arctan2(east, north))))

    assert spread[0] == pytest.approx(29.0, abs=6.0)
    assert spread[1] == pytest.approx(3.0, abs=1.5)


def test_a_hatch_turns_the_field_at_the_shank_and_hides_from_strength_and_dip() -> None:
    rng = np.random.default_rng(3)
    field = make_field(rng=rng, norm_ut=48.0, dip_deg=66.0, floor_ut=0.0, hatch_deg=50.0)
    shank, thigh, far = field.at(np.array([[0, 0, 0.35], [0, 0, 0.70], [4.0, 3.0, 0.35]]))

    turned = np.degrees(np.arctan2(-shank[0], shank[1]))
    assert turned == pytest.approx(50.0)
    assert_allclose([np.linalg.norm(shank), shank[2]], [48.0, field.earth_ut[2]])
    # A dipole's field falls with the cube of the distance: an eighth at twice the height.
    assert_allclose(thigh - field.earth_ut, (shank - field.earth_ut) / 8.0)
    assert np.degrees(np.arctan2(-thigh[0], thigh[1])) == pytest.approx(5.7, abs=0.1)
    assert_allclose(far, field.earth_ut, atol=0.02)


@pytest.mark.parametrize("hatch_deg", [0.0, 50.0])
def test_the_floors_field_has_neither_curl_nor_divergence(hatch_deg: float) -> None:
    rng = np.random.default_rng(3)
    field = make_field(rng=rng, norm_ut=48.0, dip_deg=66.0, floor_ut=10.0, hatch_deg=hatch_deg)
    place, h = rng.uniform(0.1, 3.0, (50, 3)), 1e-4
    gradient = np.stack(
        [(field.at(place + h * e) - field.at(place - h * e)) / (2 * h) for e in np.eye(3)], axis=1
    )  # (n, derivative, component)

    assert_allclose(np.trace(gradient, axis1=1, axis2=2), 0.0, atol=1e-5)
    assert_allclose(gradient, gradient.transpose(0, 2, 1), atol=1e-5)
    assert np.abs(gradient).max() > 1.0


def test_the_magnetometers_lag_delays_it() -> None:
    late = SensorErrors(0, 0, 0, 0, 0, 0, 0, magnetometer_lag_s=0.02)
    kept = [
        simulate_walk(rng=np.random.default_rng(9), walk_s=8.0, sensor_errors=errors)
        for errors in (SensorErrors.none(), late)
    ]
    prompt, delayed = (trial.sensors.distal.magnetometer for trial in kept)
    assert prompt is not None
    assert delayed is not None

    assert_allclose(delayed[102:], prompt[100:-2], atol=1e-9)


def test_derivatives_match_those_of_a_sine_and_a_steady_turn() -> None:
    time_s, h = np.linspace(0.0, 1.0, 50), 1e-3
    steps = [time_s + j * h for j in range(-2, 3)]
    waves = [np.sin(2 * np.pi * 5 * t)[:, None] for t in steps]
    expected = -((2 * np.pi * 5) ** 2) * np.sin(2 * np.pi * 5 * time_s)
    axis = np.array([0.36, -0.48, 0.8])
    turns = [Rotation.from_rotvec(7.0 * t[:, None] * axis) for t in steps]

    assert_allclose(acceleration(waves, h)[:, 0], expected, atol=1e-4)
    assert_allclose(angular_rate(turns, h), np.broadcast_to(7.0 * axis, (50, 3)), atol=1e-9)


def test_turns_about_moving_axes_match_scipy() -> None:
    angles = np.random.default_rng(0).uniform(-3, 3, (200, 3))
    for axes in ("zxy", "yxz"):
        ours = turned_in_order(axes, *angles.T)
        theirs = Rotation.from_euler(axes.upper(), angles)
        assert np.max((ours.inv() * theirs).magnitude()) < 1e-12
