"""How `kalman` copes with a disturbed field and with the magnetometer's own offset."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation

from twinangle.simulate import simulate_walk
from twinangle.wearable.kalman import KalmanParameters
from twinangle.wearable.kalman.estimate import _quantile
from twinangle.wearable.kalman.field import (
    staying,
)
from twinangle.wearable.kalman.magnetometer_offset import estimate_offset, matrices, remove_offset
from twinangle.wearable.kalman.parameters import constants, usual_factor
from twinangle.wearable.kalman.preintegration import (
    COLUMNS,
    DURATION,
    MEAN_M,
    MEAN_WM,
    NORM_M,
    ROTATION,
    SENSOR_M,
    SQUARE_M,
    integrate_blocks,
)
from twinangle.wearable.orientation import kalman, vqf_offline

EARTH = np.array([0.0, 19.5, -43.9])  # µT


def heading_and_tilt_deg(found, true) -> tuple[float, float]:
    """Root mean square error of heading and inclination."""
    error = Rotation.from_quat(found.quaternion, scalar_first=True)
    error = error * Rotation.from_quat(true.quaternion, scalar_first=True).inv()
    x, y, z, w = error.as_quat(canonical=True).T
    parts = np.degrees([2 * np.arctan2(z, w), 2 * np.arctan2(np.hypot(x, y), np.hypot(w, z))])
    heading, tilt = np.sqrt(np.mean(parts**2, axis=1))
    return float(heading), float(tilt)


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_iron_in_the_floor_is_averaged_out(seed):
    """Against the `vqf` library on the same signals (Laidig & Seel 2023, Inf Fusion 91:187).

    A 10 µT floor turns the field at the shank by 6° to 12° (SD), and by 21° where seed 3 stands.
    """
    walk = simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, floor_ut=10.0)
    sensor, true = walk.sensors.distal, walk.truth.sensors.distal
    ours, tilt = heading_and_tilt_deg(kalman(sensor), true)
    library, library_tilt = heading_and_tilt_deg(vqf_offline(sensor), true)
    assert ours < 0.5 * library
    assert tilt < min(0.6, library_tilt)


def test_a_magnet_met_on_the_way_is_rejected(moving_sensor):
    """For a third of the recording a magnet turns the field by 40°; its norm tells."""
    moving = moving_sensor(30, seconds=90)
    field = moving.truth.inv().apply(np.tile([12.0, 5.0, 20.0], (9000, 1)))
    met = (moving.sensor.time_s > 40) & (moving.sensor.time_s < 70)
    disturbed = np.where(
        met[:, None], moving.sensor.magnetometer + field, moving.sensor.magnetometer
    )
    sensor = replace(moving.sensor, magnetometer=disturbed)
    error = Rotation.from_quat(kalman(sensor).quaternion, scalar_first=True) * moving.truth.inv()
    assert np.degrees(error.magnitude()[500:]).max() < 3.0


def test_own_offset_of_the_magnetometer_is_taken_off(moving_sensor):
    moving = moving_sensor(31, seconds=90)
    turned = []
    for offset in (np.zeros(3), np.array([0.5, -0.4, 0.6])):
        sensor = replace(moving.sensor, magnetometer=moving.sensor.magnetometer + offset)
        errors = []
        for prior in (0.005, 1e-6):  # the second leaves the offset where it is
            found = kalman(sensor, parameters=KalmanParameters(magnetometer_offset=prior))
            error = Rotation.from_quat(found.quaternion, scalar_first=True) * moving.truth.inv()
            errors.append(np.sqrt(np.mean(np.degrees(error.magnitude()[500:]) ** 2)))
        turned.append(errors)
    (clean, clean_without), (with_offset, without) = turned
    assert clean < 1.2 * clean_without
    assert with_offset < 0.75 * without


def blocks(rng: np.random.Generator, offset: np.ndarray) -> tuple[np.ndarray, Rotation]:
    """Rows of 40 blocks of a turning sensor in a still field, and the attitude at each node."""
    drift = np.array([0.01, -0.005, 0.008])
    steps = Rotation.from_rotvec(rng.normal(0, 0.02, (2001, 3)) + drift)
    turn, attitude = np.eye(3), []
    for step in steps.as_matrix():
        attitude.append(turn)
        turn = turn @ step
    truth = Rotation.from_matrix(np.array(attitude))
    rate = np.vstack([np.zeros(3), steps[:-1].as_rotvec() * 100.0])
    nodes = np.arange(0, 2001, 50)
    relative = np.zeros((2001, 4))
    rows = integrate_blocks(
        rate, np.ones_like(rate), truth.inv().apply(EARTH) + offset, nodes, 0.01, False,
        np.zeros(3), relative,
    )  # fmt: skip
    return rows, truth[nodes[:-1]]


def test_offset_is_found_exactly_in_a_still_field():
    offset = np.array([1.5, -2.0, 0.7])
    rows, attitude = blocks(np.random.default_rng(1), offset)
    q, weight = attitude.as_quat(scalar_first=True), np.ones(len(rows))
    found = estimate_offset(rows, q, weight, 0.0, np.zeros(3), prior=1e6)
    np.testing.assert_allclose(found, offset, atol=1e-9)
    # a prior of its own size draws it towards zero, a vanishing one holds it there
    drawn = estimate_offset(rows, q, weight, 0.0, np.zeros(3), prior=0.5)
    assert 0 < np.linalg.norm(drawn) < np.linalg.norm(offset)
    assert np.linalg.norm(estimate_offset(rows, q, weight, 0.0, np.zeros(3), prior=1e-6)) < 1e-6
    assert not estimate_offset(rows, q, 0 * weight, 0.0, np.zeros(3), prior=1.0).any()


def test_offset_taken_off_the_sums_equals_one_taken_off_the_samples():
    offset = np.array([1.5, -2.0, 0.7])
    rows, _ = blocks(np.random.default_rng(2), offset)
    expected, _ = blocks(np.random.default_rng(2), np.zeros(3))
    remove_offset(rows, offset)
    for column, size, tolerance in (
        (MEAN_M, 3, 1e-9),
        (SENSOR_M, 3, 1e-9),
        (SQUARE_M, 1, 1e-9),
        (NORM_M, 1, 0.08),  # a block turns by up to a radian
        (MEAN_WM, 3, 0.3),  # to half a sample of turning; |ω × m| is about 150
    ):
        part = slice(column, column + size)
        np.testing.assert_allclose(rows[:, part], expected[:, part], atol=tolerance)
    untouched = np.zeros((1, COLUMNS))
    untouched[0, [ROTATION, DURATION]] = 1.0, 0.5  # a block without a reading
    before = untouched.copy()
    remove_offset(untouched, offset)
    np.testing.assert_array_equal(untouched, before)


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.8, 0.95])
def test_correlation_follows_from_change_and_variance(correlation):
    """A stationary first-order autoregression: E(x' − x)² = 2 V (1 − ρ) (Box & Jenkins 1970)."""
    rng, c = np.random.default_rng(3), constants(KalmanParameters())
    x = np.zeros(200_000)
    noise = 5 * np.sqrt(1 - correlation**2) * rng.standard_normal(x.size)
    for i in range(1, x.size):
        x[i] = correlation * x[i - 1] + noise[i]
    found = staying(np.mean(x**2), 0.5 * np.mean(np.diff(x) ** 2), 0.5, False, 1e-9, c)
    assert found == pytest.approx(correlation, abs=0.01)


def test_correlation_without_disturbance_is_that_of_the_time_constants():
    p, c = KalmanParameters(), constants(KalmanParameters())
    assert staying(0.0, 0.0, 0.1, False, 1.0, c) == pytest.approx(1 - 0.1 / p.disturbance_moving_s)
    assert staying(50.0, 0.0, 0.5, True, 1.0, c) == np.exp(-0.5 / p.disturbance_rest_s)
    assert staying(1.0, 50.0, 0.5, False, 1.0, c) == 0.0


def test_usual_deviation_is_a_chi_square_mean():
    """scipy's chi-square: its quantile is the usual deviation's, its mean 4."""
    for share in (0.1, 0.25, 0.5):
        assert usual_factor(share) == pytest.approx(4 / stats.chi2.ppf(share, 4), rel=1e-9)
    values = np.random.default_rng(4).normal(size=99)
    expected = np.quantile(values, 0.25, method="inverted_cdf")
    assert _quantile(values, np.full(99, 0.3), 0.25) == expected
    assert _quantile(np.array([1.0, 2.0]), np.array([0.1, 0.9]), 0.25) == 2.0
    with pytest.raises(ValueError, match=r"`usual_share` must be below 1, got 1\.5"):
        KalmanParameters(usual_share=1.5)


def test_matrices_agree_with_scipy():
    turns = Rotation.random(20, random_state=np.random.default_rng(5))
    np.testing.assert_allclose(matrices(turns.as_quat(scalar_first=True)), turns.as_matrix())
