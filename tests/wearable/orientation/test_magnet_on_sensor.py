"""A magnet fixed to the sensor, one that comes off, and a vertical that was lost."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import InertialRecording, OrientationPair
from twinangle.wearable.kalman import KalmanParameters
from twinangle.wearable.kalman.filtering import (
    level_again,
)
from twinangle.wearable.kalman.magnet import (
    FIT,
    FIT_B,
    FIT_BLOCKS,
    FIT_COUNT,
    fit_magnet,
    without_lag_of_own,
)
from twinangle.wearable.kalman.parameters import constants
from twinangle.wearable.kalman.passes import COLUMNS, DURATION, TRACE, N, filter_blocks, rest_blocks
from twinangle.wearable.kalman.states import (
    ABOUT,
    ABOUT_FORCE,
    ABOUT_SPAN,
)
from twinangle.wearable.orientation import kalman, kalman_forward, vqf_forward, vqf_offline
from twinangle.wearable.procedure_input import WearableTrial, orient_trial

BOTH = pytest.mark.parametrize(
    ("estimate", "library"), [(kalman, vqf_offline), (kalman_forward, vqf_forward)]
)
ON_S, OFF_S = 30.0, 70.0


def _with_magnet(moving, vector, ramp_s=0.5):
    sensor = moving.sensor
    edge = np.minimum(sensor.time_s - ON_S, OFF_S - sensor.time_s)
    share = np.clip(edge / ramp_s, 0, 1)[:, None]
    return replace(sensor, magnetometer=sensor.magnetometer + share * vector)


def _off_deg(moving, apart_deg, found):
    return apart_deg(found.quaternion, moving.truth.as_quat(scalar_first=True))


MAGNETS = [(13.0, 1), (60.0, 2), (60.0, 3), (250.0, 4)]  # µT and seed: a toy to a loudspeaker


@BOTH
@pytest.mark.parametrize(("strength", "seed"), MAGNETS)
def test_a_magnet_on_the_sensor_is_no_worse_than_with_the_library(
    moving_sensor, apart_deg, estimate, library, strength, seed
):
    """Reference: the `vqf` library on the same signals."""
    moving = moving_sensor(seed, seconds=120.0)
    direction = np.random.default_rng(seed).normal(size=3)
    sensor = _with_magnet(moving, strength * direction / np.linalg.norm(direction))
    ours = _off_deg(moving, apart_deg, estimate(sensor))
    theirs = _off_deg(moving, apart_deg, library(sensor))
    assert np.sqrt(np.mean(ours**2)) < max(np.sqrt(np.mean(theirs**2)), 1.0)
    assert ours.max() < 6
    assert ours[sensor.time_s > OFF_S + 20].max() < 2.5


@pytest.mark.parametrize("seed", range(3))
def test_the_disturbance_of_heading_does_not_wind_up(moving_sensor, seed):
    from twinangle.wearable.kalman.estimate import Stretch, _start

    moving = moving_sensor(seed, seconds=120.0)
    sensor = _with_magnet(moving, np.array([60.0, -40.0, 20.0]))
    stretch = Stretch(
        sensor.gyroscope,
        sensor.accelerometer,
        sensor.magnetometer,
        100.0,
        trapezoid=False,
        parameters=KalmanParameters(),
    )
    start = _start(stretch)
    rows = stretch.integrate(stretch.nodes, np.zeros(3), np.empty((sensor.n_samples, 4)))
    reference = np.array([np.linalg.norm([18.0, 45.0]), -45.0, 0.0])
    states, _, _ = filter_blocks(
        rows,
        rest_blocks(rows, stretch.constants),
        start.state,
        start.covariance,
        np.zeros(0),
        np.zeros((0, 2)),
        reference,
        0.0,
        stretch.constants,
    )
    assert np.abs(states[:, 9]).max() <= np.pi
    # and it is gone once the magnet is
    assert np.abs(states[-40:, 9]).max() < np.radians(15)


def test_the_fit_of_a_magnet_is_least_squares():
    """Reference: numpy's lstsq on the same equations, weighted."""
    rng = np.random.default_rng(3)
    c = constants(KalmanParameters(magnet_prior=1e3))
    field, magnet = np.array([0.0, 18.0, -45.0]), np.array([30.0, -5.0, 12.0])
    fit, row = np.zeros(FIT), np.zeros(COLUMNS)
    row[DURATION] = 0.5
    turns = Rotation.random(14, rng=rng).as_matrix()
    noise = 0.3 * rng.normal(size=(14, 3))
    readings = field + turns @ magnet + noise
    for turn, reading in zip(turns, readings, strict=True):
        fit_magnet(fit, turn.copy(), *reading, 100.0, row, c)
    assert fit[FIT_BLOCKS] == 14
    weight = np.exp(-0.5 / c.magnet_memory * np.arange(13, -1, -1))
    assert_allclose(fit[FIT_COUNT], weight.sum(), rtol=1e-12)
    design = np.concatenate([np.tile(np.eye(3), (14, 1, 1)), turns], axis=2)
    root = np.sqrt(np.repeat(weight, 3))
    expected = np.linalg.lstsq(
        design.reshape(-1, 6) * root[:, None], readings.reshape(-1) * root, rcond=None
    )[0]
    assert_allclose(fit[FIT_B : FIT_B + 3], expected[3:], atol=2e-4)
    # a field that jumps begins a new fit
    fit_magnet(fit, turns[0].copy(), 500.0, 0.0, 0.0, 1.0, row, c)
    assert fit[FIT_BLOCKS] == 1


def test_the_lag_leaves_out_what_turns_with_the_sensor():
    """ω × b turned to the earth and averaged over a block is (R₁ − R₀) b / T."""
    axis, angle, lag, duration = np.array([0.6, 0.0, 0.8]), 1.2, 0.012, 0.5
    ends = [Rotation.from_rotvec(axis * a).as_quat(scalar_first=True) for a in (0.0, angle)]
    A = np.zeros((3, 3))
    without_lag_of_own(ends[0], lag, ends[1], duration, A)
    b = np.array([30.0, -5.0, 12.0])
    steps = Rotation.from_rotvec(axis * np.linspace(0, angle, 20001)[:, None])
    mean = steps.apply(np.cross(axis * angle / duration, b)).mean(axis=0)
    assert_allclose(A @ b, -lag * mean, atol=1e-4)


@pytest.mark.parametrize("tip_deg", [40.0, 120.0, 180.0])
def test_levelling_makes_the_mean_force_vertical(tip_deg):
    c = constants(KalmanParameters())
    tipped = Rotation.from_rotvec(np.radians(tip_deg) * np.array([0.6, 0.8, 0.0]))
    state, about = np.zeros(10), np.zeros(ABOUT)
    before = Rotation.from_euler("ZYX", [0.7, 0.2, -0.4])
    state[:4] = (tipped * before).as_quat(scalar_first=True)
    force = tipped.apply([0.0, 0.0, 9.81])
    about[ABOUT_FORCE : ABOUT_FORCE + 3], about[ABOUT_SPAN] = 5 * force, 5.0
    P = np.ones((N, N)) + np.eye(N)
    level_again(state, P, about, c, np.zeros(TRACE))
    found = Rotation.from_quat(state[:4], scalar_first=True)
    assert_allclose((found * before.inv()).apply([0, 0, 1.0]), [0, 0, 1.0], atol=1e-9)
    assert_allclose(P, P.T)
    assert np.linalg.eigvalsh(P).min() > -1e-12
    assert P[3, 4] == 1.0  # what was known of the bias stays


def _turned_unseen(moving_sensor, seed=5):
    """A sensor whose gyroscope reads its resting value while it is turned upside down."""
    moving = moving_sensor(seed, seconds=60.0, still=True)
    at = moving.sensor.time_s
    turn = Rotation.from_rotvec(np.pi * np.clip((at - 20) / 1.5, 0, 1)[:, None] * [1.0, 0, 0])
    sensor = replace(
        moving.sensor,
        accelerometer=turn.inv().apply(np.array(moving.sensor.accelerometer)),
        magnetometer=turn.inv().apply(np.array(moving.sensor.magnetometer)),
    )
    return sensor, moving.truth * turn


@pytest.mark.parametrize("estimate", [kalman, kalman_forward])
@pytest.mark.parametrize("magnetic", [True, False])
def test_a_lost_vertical_is_found_again_and_said(moving_sensor, estimate, magnetic):
    sensor, truth = _turned_unseen(moving_sensor)
    found = estimate(sensor if magnetic else sensor.without_magnetometer())
    up = Rotation.from_quat(found.quaternion, scalar_first=True).inv().apply([0, 0, 1.0])
    tilt = np.degrees(
        np.arccos(np.clip(np.sum(up * truth.inv().apply([0, 0, 1.0]), axis=1), -1, 1))
    )
    after = sensor.time_s > 35
    assert tilt[after].max() < 1
    assert tilt[sensor.time_s < 10].max() < 2
    (warning,) = found.warnings
    assert "the vertical contradicted the mean specific force" in warning
    said = float(warning.split("levelled again at ")[1].split()[0].rstrip(","))
    assert 20 < said < 30


@pytest.mark.parametrize("estimate", [kalman, kalman_forward])
@pytest.mark.parametrize("seed", range(4))
def test_an_honest_recording_has_no_warning(moving_sensor, estimate, seed):
    assert estimate(moving_sensor(seed).sensor).warnings == ()


def test_the_warning_reaches_the_trial(moving_sensor):
    from twinangle.signals.recording import Interval, SensorPair

    sensor, _ = _turned_unseen(moving_sensor)
    trial = WearableTrial(SensorPair(sensor, sensor), static=Interval(2.0, 6.0))
    oriented = orient_trial(
        trial, lambda pair: OrientationPair(kalman_forward(pair.proximal), kalman(pair.distal))
    )
    assert [text.split(":")[0] for text in oriented.warnings] == [
        "proximal sensor",
        "distal sensor",
    ]


BROAD = Path(__file__).resolve().parents[2] / "../shared/data/broad"
ATTACHED = BROAD / "34_disturbed_attached_magnet_3cm.npz"


@pytest.mark.skipif(not ATTACHED.exists(), reason="../shared/data/broad is absent")
@BOTH
def test_a_real_magnet_on_the_sensor(apart_deg, estimate, library):
    """Laidig et al. 2021, Data 6:72, optical tracking; reference: the `vqf` library beside it."""
    data = np.load(ATTACHED)
    sensor = InertialRecording(
        accelerometer=data["imu_acc"],
        gyroscope=data["imu_gyr"],
        magnetometer=data["imu_mag"],
        start_s=0.0,
        rate_hz=float(data["sampling_rate"]),
        source="attached magnet",
        gyroscope_sample="interval-mean",
    )
    moving = data["movement"].astype(bool) & np.isfinite(data["opt_quat"]).all(axis=1)
    off = [apart_deg(f(sensor).quaternion, data["opt_quat"])[moving] for f in (estimate, library)]
    ours, theirs = (float(np.sqrt(np.mean(one**2))) for one in off)
    assert ours < 0.6 * theirs
    assert ours < 1.8
