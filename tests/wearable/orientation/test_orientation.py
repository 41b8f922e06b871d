from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.errors import RecordingError
from twinangle.signals.recording import OrientationRecording
from twinangle.wearable.kalman import KalmanParameters
from twinangle.wearable.orientation import (
    kalman,
    kalman_forward,
    vqf_forward,
    vqf_offline,
)

OWN = [kalman, kalman_forward]
EVERY = [*OWN, vqf_offline, vqf_forward]


def rotation(recording: OrientationRecording) -> Rotation:
    return Rotation.from_quat(recording.quaternion, scalar_first=True)


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


@pytest.mark.parametrize("estimate", EVERY)
@pytest.mark.parametrize("sample", ["interval-mean", "instantaneous"])
def test_moving_sensor_is_followed(moving_sensor, apart_deg, estimate, sample):
    """The truth is simulated, so the bound is ours: 2° is what the field's noise allows."""
    moving = moving_sensor(1, sample=sample)
    error = apart_deg(estimate(moving.sensor).quaternion, moving.truth.as_quat(scalar_first=True))
    assert rms(error[500:]) < 2.0


@pytest.mark.parametrize("estimate", EVERY)
def test_single_precision_and_column_order_are_taken(moving_sensor, apart_deg, estimate):
    sensor = moving_sensor(1).sensor
    single = replace(
        sensor,
        accelerometer=np.asfortranarray(sensor.accelerometer, dtype=np.float32),
        gyroscope=np.asfortranarray(sensor.gyroscope, dtype=np.float32),
        magnetometer=np.asfortranarray(sensor.magnetometer, dtype=np.float32),
    )
    apart = apart_deg(estimate(single).quaternion, estimate(sensor).quaternion)
    assert np.nanmax(apart) < 0.05  # a float32 rate is known to 1e-7 of itself, over 30 s


@pytest.mark.parametrize("estimate", OWN)
def test_wrong_gyroscope_timing_shows(moving_sensor, apart_deg, estimate):
    """Half a sample of lag at 100 Hz is 5 ms of turning (the largest avoidable error)."""
    moving = moving_sensor(2, sample="instantaneous", noise=0.0)
    truth = moving.truth.as_quat(scalar_first=True)
    right = rms(apart_deg(estimate(moving.sensor).quaternion, truth)[500:])
    late = replace(moving.sensor, gyroscope_sample="interval-mean")
    assert rms(apart_deg(estimate(late).quaternion, truth)[500:]) > 1.1 * right


def test_smoothing_beats_the_order_of_time(moving_sensor, apart_deg):
    errors = np.array(
        [
            [
                rms(apart_deg(estimate(m.sensor).quaternion, m.truth.as_quat(scalar_first=True)))
                for estimate in OWN
            ]
            for m in (moving_sensor(seed) for seed in range(10, 14))
        ]
    )
    assert errors[:, 0].mean() < errors[:, 1].mean()


@pytest.mark.parametrize("estimate", OWN)
def test_mounting_turns_the_orientation_exactly(moving_sensor, apart_deg, estimate):
    moving = moving_sensor(3)
    mounting = Rotation.from_rotvec([0.7, -1.9, 1.1])
    s = moving.sensor
    other = replace(
        s,
        accelerometer=mounting.apply(1.0 * s.accelerometer),
        gyroscope=mounting.apply(1.0 * s.gyroscope),
        magnetometer=mounting.apply(1.0 * s.magnetometer),
    )
    turned = (rotation(estimate(other)) * mounting).as_quat(scalar_first=True)
    assert apart_deg(turned, estimate(s).quaternion).max() < 1e-5


@pytest.mark.parametrize("estimate", OWN)
def test_turning_the_person_turns_the_orientation(moving_sensor, apart_deg, estimate):
    moving = moving_sensor(4, noise=0.0)
    turn = Rotation.from_rotvec([0, 0, 1.2])
    turned = moving_sensor(4, noise=0.0, turn=turn)
    expected = (turn * rotation(estimate(moving.sensor))).as_quat(scalar_first=True)
    error = apart_deg(estimate(turned.sensor).quaternion, expected)
    assert error.max() < 1.0
    assert rms(error[500:]) < 0.5


@pytest.mark.parametrize("estimate", OWN)
def test_field_unit_does_not_matter(moving_sensor, apart_deg, estimate):
    s = moving_sensor(5).sensor
    normalised = replace(s, magnetometer=s.magnetometer / 48.5)
    assert apart_deg(estimate(normalised).quaternion, estimate(s).quaternion).max() < 1e-5


def test_smoother_is_nearly_symmetric_in_time(moving_sensor, apart_deg):
    """Backwards in time the rates change sign and interval k becomes the one before it."""
    s = moving_sensor(6, bias_deg_s=0.0).sensor
    backwards = replace(
        s,
        accelerometer=s.accelerometer[::-1],
        gyroscope=np.vstack([s.gyroscope[:1] * 0, -s.gyroscope[:0:-1]]),
        magnetometer=s.magnetometer[::-1],
    )
    error = apart_deg(kalman(backwards).quaternion[::-1], kalman(s).quaternion)
    assert rms(error) < 0.5


@pytest.mark.parametrize("estimate", EVERY)
def test_rest_gives_tilt_and_heading(moving_sensor, apart_deg, estimate):
    moving = moving_sensor(7, still=True, seconds=30)
    error = apart_deg(estimate(moving.sensor).quaternion, moving.truth.as_quat(scalar_first=True))
    assert rms(error[1000:]) < 0.5


@pytest.mark.parametrize("estimate", EVERY)
def test_without_magnetometer_inclination_is_kept(moving_sensor, estimate):
    moving = moving_sensor(8)
    up = moving.truth.inv().apply([0, 0, 1.0])
    found = rotation(estimate(moving.sensor.without_magnetometer())).inv().apply([0, 0, 1.0])
    angle = np.degrees(np.arcsin(np.clip(np.linalg.norm(np.cross(up, found), axis=1), 0, 1)))
    assert rms(angle[500:]) < 1.5


@pytest.mark.parametrize("estimate", OWN)
@pytest.mark.parametrize("silent", [120, 1000])
def test_a_magnetometer_that_is_silent_at_the_start_gives_the_heading_later(
    moving_sensor, apart_deg, estimate, silent
):
    """Until its first reading any heading is as likely; from then on it is the field's."""
    moving = moving_sensor(4)
    field = np.array(moving.sensor.magnetometer)
    field[:silent] = np.nan
    found = estimate(replace(moving.sensor, magnetometer=field))
    error = apart_deg(found.quaternion, moving.truth.as_quat(scalar_first=True))
    assert rms(error[silent + 800 :]) < 2.0
    if estimate is kalman:
        assert rms(error) < 2.0


@pytest.mark.parametrize("estimate", EVERY)
def test_short_gap_is_bridged_and_long_gap_stays(moving_sensor, apart_deg, estimate):
    moving = moving_sensor(9)
    gyroscope = np.array(moving.sensor.gyroscope)
    gyroscope[2000:2004] = np.nan  # 0.04 s
    gyroscope[3000:3050, 1] = np.nan  # 0.5 s
    gyroscope[3080:3100] = np.nan  # leaves 0.3 s between two gaps
    q = estimate(replace(moving.sensor, gyroscope=gyroscope)).quaternion
    missing = np.isnan(q).any(axis=1)
    assert missing[3000:3100].all()
    assert missing.sum() == 100
    error = apart_deg(q, moving.truth.as_quat(scalar_first=True))
    assert rms(error[500:3000]) < 2.0
    assert rms(error[3600:]) < 3.0


@pytest.mark.parametrize("estimate", EVERY)
def test_missing_field_readings_are_left_out(moving_sensor, apart_deg, estimate):
    """The library is given the last reading instead, and is the worse for it."""
    moving = moving_sensor(10)
    field = np.array(moving.sensor.magnetometer)
    field[1000:1300] = np.nan
    q = estimate(replace(moving.sensor, magnetometer=field)).quaternion
    error = apart_deg(q, moving.truth.as_quat(scalar_first=True))
    assert np.isfinite(q).all()
    assert rms(error[500:]) < 4.0


@pytest.mark.parametrize(("estimate", "bound"), [(kalman, 2.0), (kalman_forward, 4.0)])
def test_start_in_motion(moving_sensor, apart_deg, estimate, bound):
    """Our own bounds; the forward form has only the first 5 s to find its start from."""
    for seed in range(20, 24):
        moving = moving_sensor(seed, rest_s=-5.0)
        q = estimate(moving.sensor).quaternion
        error = apart_deg(q, moving.truth.as_quat(scalar_first=True))
        assert rms(error[:1000]) < bound


@pytest.mark.parametrize("estimate", OWN)
@pytest.mark.parametrize("missed_deg", [30.0, 60.0])
def test_a_saturated_gyroscope_is_recovered_from(moving_sensor, apart_deg, estimate, missed_deg):
    """The gyroscope misses a turn; 20 s later it is found again (bounds of our own)."""
    moving = moving_sensor(30, seconds=90)
    gyroscope = np.array(moving.sensor.gyroscope)
    gyroscope[4000:4020] += np.radians(missed_deg) / 0.2 * np.array([0.6, 0.8, 0.0])
    q = estimate(replace(moving.sensor, gyroscope=gyroscope)).quaternion
    error = apart_deg(q, moving.truth.as_quat(scalar_first=True))
    assert error[4020] > 0.3 * missed_deg
    assert rms(error[6000:]) < 2.0
    assert rms(error[500:3500]) < 1.5


def test_same_input_same_output(moving_sensor):
    s = moving_sensor(11).sensor
    np.testing.assert_array_equal(kalman(s).quaternion, kalman(s).quaternion)


@pytest.mark.parametrize("estimate", EVERY)
def test_quaternions_are_unit(moving_sensor, estimate):
    q = estimate(moving_sensor(12, seconds=20).sensor).quaternion
    np.testing.assert_allclose(np.linalg.norm(q, axis=1), 1, atol=1e-9)


@pytest.mark.parametrize("estimate", EVERY)
def test_faulty_signals_are_refused(moving_sensor, estimate):
    s = moving_sensor(13, seconds=20).sensor
    lost = np.full_like(s.gyroscope, np.nan)
    with pytest.raises(RecordingError, match=r"moving: no stretch of 1 s .* 2000 of 2000"):
        estimate(replace(s, gyroscope=lost))
    with pytest.raises(RecordingError, match="magnetometer reads zero throughout"):
        estimate(replace(s, magnetometer=np.zeros_like(lost)))
    infinite = np.array(s.accelerometer)
    infinite[500, 2] = np.inf
    with pytest.raises(RecordingError, match=r"accelerometer is infinite in 1 .* first at 5 s"):
        estimate(replace(s, accelerometer=infinite))
    with pytest.raises(RecordingError, match=r"shape \(1999, 3\), expected \(2000, 3\)"):
        estimate(replace(s, magnetometer=s.magnetometer[1:]))


def test_parameters_must_be_positive():
    with pytest.raises(ValueError, match="`block_s` must be above 0, got 0"):
        KalmanParameters(block_s=0)
