"""What the instruments make of the true motion: inertial sensors and a reference angle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from twinangle.recording import Array, GyroscopeSample, InertialRecording
from twinangle.simulate.body import Body, Segment
from twinangle.simulate.field import MagneticField

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
    """Errors of the reference instrument: fixed gain and offset, noise SD, slow wander SD."""

    gain: float = 1.005
    offset_deg: float = 0.6
    noise_deg: float = 0.08
    wander_deg: float = 0.15

    @classmethod
    def none(cls) -> ReferenceErrors:
        """Return a perfect reference."""
        return cls(1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class SegmentSensor:
    """A sensor strapped to a segment: where it sits, how it is turned, how the skin moves it."""

    body: Body
    segment: Segment
    arm_m: Array  # (3,) in the segment's frame
    mounting: Rotation  # sensor to segment
    soft_tissue_deg: float
    soft_tissue_axis: Array  # (3,) in the segment's frame, unit

    def orientation(self, time_s: Array) -> Rotation:
        """Return the rotations that map the sensor's frame to the earth's."""
        wobble = np.deg2rad(self._skin_deg(time_s))[:, None] * self.soft_tissue_axis
        segment = self.body.orientation(self.segment, time_s)
        return segment * Rotation.from_rotvec(wobble) * self.mounting

    def position(self, time_s: Array) -> Array:
        """Return the sensor's earth position (n, 3) in metres."""
        # Skin that turns by a degree also slides by about 2 mm (common practice, no source).
        slide = 0.002 * self._skin_deg(time_s)[:, None] * self.soft_tissue_axis
        return self.body.position(self.segment, time_s, self.arm_m + slide)

    def _skin_deg(self, time_s: Array) -> Array:
        """Return the skin's turn, locked to the stride, amplitude `soft_tissue_deg`."""
        gait = self.body.gait
        cycle = 2.0 * np.pi * gait.phase(time_s)
        wave = (
            0.7 * np.sin(cycle + 0.4) + 0.4 * np.sin(2.0 * cycle + 1.1) + 0.2 * np.sin(5.0 * cycle)
        )
        return np.asarray(self.soft_tissue_deg * gait.schedule.walking(time_s) * wave)


def angular_rate(orientation: Callable[[Array], Rotation], time_s: Array) -> Array:
    """Return the angular velocity (n, 3) in rad/s in the moving frame.

    Central differences of the rotation vector over ±h and ±2h, combined to cancel the h² error
    (Richardson): ω = (4 D(h) − D(2h)) / 3, D(h) = log(R(t−h)ᵀ R(t+h)) / 2h. With h = 1 ms the
    remaining error is below 1e-6 rad/s for motion below 20 Hz.
    """

    def difference(h: float) -> Array:
        turned = orientation(time_s - h).inv() * orientation(time_s + h)
        return np.asarray(turned.as_rotvec() / (2.0 * h))

    return (4.0 * difference(_STEP_S) - difference(2.0 * _STEP_S)) / 3.0


def acceleration(position: Callable[[Array], Array], time_s: Array) -> Array:
    """Return the second derivative (n, 3) of a position by the five-point formula."""
    h = _STEP_S
    near = position(time_s - h) + position(time_s + h)
    far = position(time_s - 2.0 * h) + position(time_s + 2.0 * h)
    return (16.0 * near - far - 30.0 * position(time_s)) / (12.0 * h**2)


def mean_rate(orientation: Callable[[Array], Rotation], time_s: Array, rate_hz: float) -> Array:
    """Return the rate (n, 3) that turns each sample's predecessor into it, in rad/s."""
    turned = orientation(time_s - 1.0 / rate_hz).inv() * orientation(time_s)
    return np.asarray(turned.as_rotvec() * rate_hz)


def record_sensor(
    sensor: SegmentSensor,
    field: MagneticField,
    *,
    rng: np.random.Generator,
    n_samples: int,
    rate_hz: float,
    errors: SensorErrors,
    gyroscope_sample: GyroscopeSample,
) -> InertialRecording:
    """Return what the sensor would have recorded, sample k at ``k / rate_hz``.

    The accelerometer gives the specific force in its own frame, Rᵀ(p̈ − g) with g pointing
    down; the magnetometer the field at its place, `errors.magnetometer_lag_s` ago.
    """
    time_s = np.arange(n_samples) / rate_hz
    to_sensor = sensor.orientation(time_s).inv()
    force = acceleration(sensor.position, time_s) + np.array([0.0, 0.0, GRAVITY_M_S2])
    if gyroscope_sample == "instantaneous":
        rate = angular_rate(sensor.orientation, time_s)
    else:
        rate = mean_rate(sensor.orientation, time_s, rate_hz)
    then = time_s - errors.magnetometer_lag_s
    magnetic = sensor.orientation(then).inv().apply(field.at(sensor.position(then)))

    def spoil(true: Array, bias: float, noise: float) -> Array:
        drawn = bias * rng.standard_normal(3) + noise * rng.standard_normal(true.shape)
        return np.asarray(true + drawn)

    scale = 1.0 + errors.gyroscope_scale * rng.standard_normal(3)
    return InertialRecording(
        accelerometer=spoil(
            to_sensor.apply(force), errors.accelerometer_bias_m_s2, errors.accelerometer_noise_m_s2
        ),
        gyroscope=spoil(scale * rate, errors.gyroscope_bias_rad_s, errors.gyroscope_noise_rad_s),
        magnetometer=spoil(magnetic, errors.magnetometer_bias_ut, errors.magnetometer_noise_ut),
        start_s=0.0,
        rate_hz=rate_hz,
        source=f"simulated {sensor.segment} sensor",
        gyroscope_sample=gyroscope_sample,
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
    wander = make_interp_spline(knots, errors.wander_deg * rng.standard_normal(knots.size), k=3)
    noise = errors.noise_deg * rng.standard_normal(wearable_time_s.size)
    slow = wander(wearable_time_s - wearable_time_s[0])
    return np.asarray(errors.gain * true_deg(wearable_time_s) + errors.offset_deg + slow + noise)
