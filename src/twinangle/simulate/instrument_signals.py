"""What the instruments make of the true motion: inertial sensors and a reference angle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from twinangle.signals.recording import Array, GyroscopeSample, InertialRecording
from twinangle.simulate.body import Moves, Pose, Segment
from twinangle.simulate.earth_field import MagneticField

GRAVITY_M_S2 = 9.81
_STEP_S = 1e-3  # of the differences that stand for derivatives


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """Sizes of an inertial sensor's errors: SDs of a draw a trial, noise SDs a sample.

    The defaults are of the order of consumer devices at 100 Hz (common practice, no source).
    """

    accelerometer_bias_m_s2: float = 0.04
    accelerometer_noise_m_s2: float = 0.03
    gyroscope_bias_rad_s: float = 0.004
    gyroscope_noise_rad_s: float = 0.002
    gyroscope_scale: float = 0.003
    magnetometer_bias_ut: float = 0.3
    magnetometer_noise_ut: float = 0.25
    magnetometer_lag_s: float = 0.0

    @classmethod
    def none(cls) -> SensorErrors:
        """Return a perfect sensor."""
        return cls(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class ReferenceErrors:
    """Errors of the reference instrument: fixed gain and offset, noise SD, SD of the slow drift."""

    gain: float = 1.005
    offset_deg: float = 0.6
    noise_deg: float = 0.08
    slow_drift_deg: float = 0.15

    @classmethod
    def none(cls) -> ReferenceErrors:
        """Return a perfect reference."""
        return cls(1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class SegmentSensor:
    """A sensor strapped to a segment: where it sits, how it is turned, how the skin moves it."""

    body: Moves
    segment: Segment
    arm_m: Array  # (3,) in the segment's frame
    mounting: Rotation  # sensor to segment
    soft_tissue_deg: float
    soft_tissue_axis: Array  # (3,) in the segment's frame, unit

    def orientation(self, pose: Pose) -> Rotation:
        """Return the rotations that map the sensor's frame to the earth's."""
        if self.soft_tissue_deg == 0.0:
            return pose.rotation[self.segment] * self.mounting
        wobble = np.deg2rad(self._skin_deg(pose.time_s))[:, None] * self.soft_tissue_axis
        return pose.rotation[self.segment] * Rotation.from_rotvec(wobble) * self.mounting

    def position(self, pose: Pose) -> Array:
        """Return the sensor's earth position (n, 3) in metres."""
        # Skin that turns by a degree also slides by about 2 mm (common practice, no source).
        slide = 0.002 * self._skin_deg(pose.time_s)[:, None] * self.soft_tissue_axis
        hung = pose.rotation[self.segment].apply(self.arm_m + slide)
        return np.asarray(pose.joint_m[self.segment] + hung)

    def _skin_deg(self, time_s: Array) -> Array:
        """Return the skin's turn, locked to the cycle, amplitude `soft_tissue_deg`."""
        cycle = 2.0 * np.pi * self.body.phase(time_s)
        wave = (
            0.7 * np.sin(cycle + 0.4) + 0.4 * np.sin(2.0 * cycle + 1.1) + 0.2 * np.sin(5.0 * cycle)
        )
        return np.asarray(self.soft_tissue_deg * self.body.moving(time_s) * wave)


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """A body's poses at a sensor's samples and just before and after, for all its sensors.

    `around` holds the poses at −2h, −h, 0, h and 2h from each sample, h = 1 ms; `before` those
    one sample earlier, None where rates are instantaneous; `delayed` those the magnetometer
    reports.
    """

    around: tuple[Pose, ...]
    before: Pose | None
    delayed: Pose
    rate_hz: float


def sample_motion(
    body: Moves,
    *,
    n_samples: int,
    rate_hz: float,
    gyroscope_sample: GyroscopeSample,
    magnetometer_lag_s: float,
) -> Motion:
    """Return the poses that n samples at ``k / rate_hz`` need."""
    time_s = np.arange(n_samples) / rate_hz
    around = tuple(body.pose(time_s + step * _STEP_S) for step in range(-2, 3))
    return Motion(
        around=around,
        before=body.pose(time_s - 1.0 / rate_hz) if gyroscope_sample == "interval-mean" else None,
        delayed=body.pose(time_s - magnetometer_lag_s) if magnetometer_lag_s else around[2],
        rate_hz=rate_hz,
    )


def angular_rate(around: Sequence[Rotation], step_s: float) -> Array:
    """Return the angular velocity (n, 3) in rad/s, in the moving frame.

    Parameters
    ----------
    around : sequence of five scipy.spatial.transform.Rotation
        Orientations at −2h, −h, 0, h and 2h from the n times.
    step_s : float
        The step h.

    Notes
    -----
    Central differences of the rotation vector, combined to cancel the error of order h²
    (Richardson's extrapolation): ω = (4 D(h) − D(2h)) / 3, D(h) = log(R(t−h)ᵀ R(t+h)) / 2h.
    """
    near = (around[1].inv() * around[3]).as_rotvec() / (2.0 * step_s)
    far = (around[0].inv() * around[4]).as_rotvec() / (4.0 * step_s)
    return np.asarray((4.0 * near - far) / 3.0)


def acceleration(around: Sequence[Array], step_s: float) -> Array:
    """Return the second derivative (n, 3) of a position by the five-point formula.

    Error of order h⁴ (Abramowitz & Stegun 1964, table 25.2; the formula is from memory and the
    tests hold it against a sine). `around` is as in :func:`angular_rate`.
    """
    before2, before1, at, after1, after2 = around
    near, far = before1 + after1, before2 + after2
    return np.asarray((16.0 * near - far - 30.0 * at) / (12.0 * step_s**2))


def record_sensor(
    sensor: SegmentSensor,
    motion: Motion,
    field: MagneticField,
    *,
    rng: np.random.Generator,
    errors: SensorErrors,
) -> InertialRecording:
    """Return what the sensor would have recorded, sample k at ``k / rate_hz``.

    The accelerometer gives the specific force in its own frame, Rᵀ(p̈ − g) with g pointing
    down; the magnetometer the field at its place, `errors.magnetometer_lag_s` ago.
    """
    around = [sensor.orientation(pose) for pose in motion.around]
    places = [sensor.position(pose) for pose in motion.around]
    upwards = np.array([0.0, 0.0, GRAVITY_M_S2])
    felt = around[2].inv().apply(acceleration(places, _STEP_S) + upwards)
    if motion.before is None:
        rate = angular_rate(around, _STEP_S)
    else:  # the constant rate that turns each sample's predecessor into it
        turned = sensor.orientation(motion.before).inv() * around[2]
        rate = np.asarray(turned.as_rotvec() * motion.rate_hz)
    there = field.at(sensor.position(motion.delayed))
    magnetic = sensor.orientation(motion.delayed).inv().apply(there)

    def spoil(true: Array, bias: float, noise: float) -> Array:
        drawn = bias * rng.standard_normal(3) + noise * rng.standard_normal(true.shape)
        return np.asarray(true + drawn)

    scale = 1.0 + errors.gyroscope_scale * rng.standard_normal(3)
    return InertialRecording(
        accelerometer=spoil(felt, errors.accelerometer_bias_m_s2, errors.accelerometer_noise_m_s2),
        gyroscope=spoil(scale * rate, errors.gyroscope_bias_rad_s, errors.gyroscope_noise_rad_s),
        magnetometer=spoil(magnetic, errors.magnetometer_bias_ut, errors.magnetometer_noise_ut),
        start_s=0.0,
        rate_hz=motion.rate_hz,
        source=f"simulated {sensor.segment} sensor",
        gyroscope_sample="instantaneous" if motion.before is None else "interval-mean",
    )


def record_reference(
    true_deg: Callable[[Array], Array],
    wearable_time_s: Array,
    *,
    rng: np.random.Generator,
    errors: ReferenceErrors,
) -> Array:
    """Return the reference's reading (n,) in degrees at times given on the wearable's clock."""
    span = wearable_time_s[-1] - wearable_time_s[0]
    knots = np.linspace(-0.1, span + 0.1, max(int(span / 15.0) + 2, 4))
    drift = make_interp_spline(knots, errors.slow_drift_deg * rng.standard_normal(knots.size), k=3)
    noise = errors.noise_deg * rng.standard_normal(wearable_time_s.size)
    slow = drift(wearable_time_s - wearable_time_s[0])
    return np.asarray(errors.gain * true_deg(wearable_time_s) + errors.offset_deg + slow + noise)
