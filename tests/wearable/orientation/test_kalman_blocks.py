import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.wearable.kalman import KalmanParameters
from twinangle.wearable.kalman.estimate import Stretch, _start
from twinangle.wearable.kalman.filtering import (
    predict,
    rest_blocks,
)
from twinangle.wearable.kalman.parameters import constants
from twinangle.wearable.kalman.passes import estimate_lag, filter_blocks, smooth_blocks
from twinangle.wearable.kalman.preintegration import (
    COLUMNS,
    MEAN_A,
    MEAN_M,
    MEAN_R,
    MEAN_WM,
    NORM_M,
    SHARE_M,
    integrate_block,
    place_blocks,
    rotated,
    turned,
)
from twinangle.wearable.kalman.states import (
    TRACE_DECAY,
    N,
)


def stretch_of(sensor, *, magnetic: bool = True) -> Stretch:
    field = sensor.magnetometer if magnetic else np.zeros((0, 3))
    return Stretch(
        sensor.gyroscope,
        sensor.accelerometer,
        field,
        sensor.rate_hz,
        trapezoid=sensor.gyroscope_sample == "instantaneous",
        parameters=KalmanParameters(),
    )


def test_quaternion_steps_agree_with_scipy():
    rng = np.random.default_rng(1)
    for size in (1e-9, 1e-3, 0.3, 0.9, 1.1, 3.0):
        q = Rotation.random(random_state=rng)
        turn, vector = size * rng.normal(size=3), rng.normal(size=3)
        w, x, y, z = turned(*q.as_quat(scalar_first=True), *turn)
        expected = q * Rotation.from_rotvec(turn)
        found = Rotation.from_quat([w, x, y, z], scalar_first=True)
        assert (found * expected.inv()).magnitude() < 1e-10
        np.testing.assert_allclose(
            rotated(*q.as_quat(scalar_first=True), *vector), q.apply(vector), atol=1e-14
        )


@pytest.mark.parametrize("trapezoid", [False, True])
def test_block_sums_agree_with_scipy(trapezoid):
    rng = np.random.default_rng(2)
    gyroscope, accelerometer, magnetometer = rng.normal(size=(3, 51, 3))
    magnetometer[7] = np.nan
    bias, interval = np.array([0.1, -0.2, 0.05]), 0.01
    relative, row = np.zeros((51, 4)), np.zeros(COLUMNS)
    integrate_block(
        gyroscope,
        accelerometer,
        magnetometer,
        0,
        50,
        interval,
        trapezoid,
        bias,
        relative,
        row,
    )
    rate = (gyroscope[1:] + gyroscope[:-1]) / 2 if trapezoid else gyroscope[1:]
    steps = Rotation.from_rotvec((rate - bias) * interval)
    turns, at = [], Rotation.identity()
    for step in steps:
        at = at * step
        turns.append(at)
    R = Rotation.concatenate(turns)
    found = Rotation.from_quat(relative[1:], scalar_first=True)
    assert (found * R.inv()).magnitude().max() < 1e-10
    seen = np.isfinite(magnetometer[1:, 0])
    crossed = np.cross(gyroscope[1:] - bias, magnetometer[1:])
    for column, expected in (
        (MEAN_R, R.as_matrix().mean(axis=0).ravel()),
        (MEAN_A, R.apply(accelerometer[1:]).mean(axis=0)),
        (MEAN_M, R[seen].apply(magnetometer[1:][seen]).mean(axis=0)),
        (MEAN_WM, R[seen].apply(crossed[seen]).mean(axis=0)),
        (NORM_M, [np.linalg.norm(magnetometer[1:][seen], axis=1).mean()]),
        (SHARE_M, [49 / 50]),
    ):
        np.testing.assert_allclose(row[column : column + len(expected)], expected, atol=1e-12)


def test_placed_blocks_meet_their_nodes():
    rng = np.random.default_rng(3)
    relative = Rotation.from_rotvec(np.cumsum(rng.normal(0, 0.01, (21, 3)), axis=0))
    relative = Rotation.concatenate([Rotation.identity(), relative[1:]])
    at = Rotation.from_rotvec([0.3, -0.4, 1.0])
    drift = Rotation.from_rotvec([0.01, 0.02, -0.01])
    quaternion = relative.as_quat(scalar_first=True)
    starts = at.as_quat(scalar_first=True)[None]
    ends = (drift * at * relative[20]).as_quat(scalar_first=True)[None]
    place_blocks(np.array([0, 20]), starts, ends, quaternion)
    found = Rotation.from_quat(quaternion, scalar_first=True)
    left = (found * (at * relative).inv()).as_rotvec()
    expected = np.arange(21)[:, None] / 20 * drift.as_rotvec()
    np.testing.assert_allclose(left, expected, atol=1e-6)


def test_smoother_agrees_with_rauch_tung_striebel(moving_sensor):
    """The fixed-interval smoother of Rauch, Tung & Striebel 1965, AIAA J 3:1445, in full matrices.

    It is written for small errors, and agrees with ours to the square of their size.
    """
    stretch = stretch_of(moving_sensor(4, seconds=30, bias_deg_s=0.05).sensor, magnetic=False)
    c, start = stretch.constants, _start(stretch)
    rows = stretch.integrate(stretch.nodes, np.zeros(3), np.empty((stretch.nodes[-1] + 1, 4)))
    rest = rest_blocks(rows, c)
    field = np.array([0.0, np.nan, 0.0])
    filtered, P, traces = filter_blocks(
        rows, rest, start.state, start.covariance, np.zeros(0), np.zeros((0, 2)), field, 0.0, c
    )
    ours = filtered.copy()
    smooth_blocks(ours, P, traces)

    def difference(a, b):
        turn = Rotation.from_quat(a[:4], scalar_first=True)
        turn = turn * Rotation.from_quat(b[:4], scalar_first=True).inv()
        return np.concatenate([turn.as_rotvec(), a[4:9] - b[4:9]])

    smoothed = filtered.copy()
    for j in range(rows.shape[0] - 1, -1, -1):
        ahead, covariance = filtered[j].copy(), P[j].copy()
        trace = np.zeros(traces.shape[1])
        predict(ahead, covariance, rows[j], traces[j, TRACE_DECAY], c, trace)
        F = np.eye(N)
        F[0:3, 3:6] = -trace[0:9].reshape(3, 3)
        f = trace[9:12]
        F[6, 1], F[6, 2], F[7, 0], F[7, 2] = f[2], -f[1], -f[2], f[0]
        F[8, 8] = trace[12]
        gain = (P[j] @ F.T)[:8, :8] @ np.linalg.inv(covariance[:8, :8])
        error = gain @ difference(smoothed[j + 1], ahead)
        turn = Rotation.from_rotvec(error[:3])
        turn = turn * Rotation.from_quat(filtered[j, :4], scalar_first=True)
        smoothed[j, :4] = turn.as_quat(scalar_first=True)
        smoothed[j, 4:9] += error[3:]
    moved = np.array([difference(a, b) for a, b in zip(filtered, smoothed, strict=True)])
    apart = np.array([difference(a, b) for a, b in zip(ours, smoothed, strict=True)])
    for part in (slice(0, 3), slice(3, 6), slice(6, 8)):  # attitude, bias, velocity
        assert np.abs(apart[:, part]).max() < 0.002 * np.abs(moved[:, part]).max()


@pytest.mark.parametrize("lag_s", [-0.01, 0.0, 0.012, 0.03])
def test_magnetometer_lag_is_found(moving_sensor, lag_s):
    """A late reading is simulated by delaying the true field in the sensor's frame."""
    moving = moving_sensor(5, noise=0.0, bias_deg_s=0.0)
    sensor = moving.sensor
    time = sensor.time_s
    late = np.stack(
        [np.interp(time - lag_s, time, axis) for axis in np.asarray(sensor.magnetometer).T], axis=1
    )
    stretch = Stretch(
        sensor.gyroscope,
        sensor.accelerometer,
        late + np.random.default_rng(1).normal(0, 0.5, late.shape),
        sensor.rate_hz,
        trapezoid=False,
        parameters=KalmanParameters(),
    )
    rows = stretch.integrate(stretch.nodes, np.zeros(3), np.empty((time.size, 4)))
    found = estimate_lag(rows, 48.5, constants(KalmanParameters()))
    assert found == pytest.approx(lag_s, abs=0.002)


def test_covariance_stays_one_over_a_day(moving_sensor):
    """A day's rounding must not make the covariance lopsided, and so negative.

    The repeated minute does not join end to end, so that the attitude is lost and found each time.
    """
    stretch = stretch_of(moving_sensor(6, rest_s=-5.0).sensor)
    c, start = stretch.constants, _start(stretch)
    rows = stretch.integrate(stretch.nodes, np.zeros(3), np.empty((stretch.nodes[-1] + 1, 4)))
    rows = np.tile(rows, (1440, 1))
    n = rows.shape[0]
    rest, field = np.zeros(n, dtype=np.bool_), np.array([48.5, -45.0, 0.5])
    about = np.tile([0.3, 0.75], (n, 1))
    states, P, _ = filter_blocks(
        rows, rest, start.state, start.covariance, np.full(n, 0.3), about, field, 0.0, c
    )
    assert np.isfinite(states).all()
    assert np.linalg.eigvalsh(P[1000::10_000]).min() > 0
    np.testing.assert_array_less(np.abs(P[1000:] - P[1000:].swapaxes(1, 2)).max(), 1e-12)
    assert np.einsum("nii->ni", P[1000:]).max() < 10
