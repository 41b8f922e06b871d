"""Two sensors with magnetometers, whose headings help each other.

Iron in a floor turns the field at the shank more than at the thigh. How far the two are turned to
each other can be had without the field, from the joint centre's acceleration, so the difference of
the two fields in one frame is the floor's alone, and shows what to take off either.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    Array,
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable import quaternions
from twinangle.wearable.heading.relative import (
    SURE_COHERENCE,
    HeadingEstimate,
    joint_centre_heading,
)
from twinangle.wearable.heading.relative_tilt import level_together
from twinangle.wearable.kalman.parameters import KalmanParameters
from twinangle.wearable.orientation import kalman

BLOCK_S = 1.0  # about a stride: within it the two sensors pass the same piece of floor
HEADING_SHARE, CLEAN_DEG = 0.2, 0.35
"""Heading error of `kalman` on one sensor: √(0.35² + (0.2 · spread of the magnetic heading)²)
degrees, as on simulated walks (`benchmarks/heading_in_disturbed_field.py`)."""
_TURN_FACTOR = 2.0
"""How much more a scale error counts about the vertical: a half turn in walking lasts five blocks
of half a second, in which it adds up to √5 times what it does at random, and 1 + 2² = 5."""
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class JointlyOriented:
    """Both sensors in one earth frame, and how that was had."""

    pair: OrientationPair
    joint: bool  # False: each sensor by its own field alone
    proximal_weight: float  # of the proximal sensor's field in the common one; NaN when not joint
    relative_uncertainty_deg: float  # of the heading between the two sensors
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Fields:
    """Both fields in the earth frame, each divided by its own median norm."""

    earth: tuple[Array, Array]  # (n, 3) each
    deviation: Array  # (2, 2m): norm and upward part less their means, block by block
    level: float  # horizontal share of the field

    @property
    def spread_deg(self) -> Array:
        """How far either magnetic heading strays, as norm and upward part do, (2,)."""
        size = np.sqrt(np.mean(self.deviation**2, axis=1))
        return np.asarray(np.degrees(size) / self.level)


def orient_jointly(
    sensors: SensorPair,
    *,
    parameters: KalmanParameters | None = None,
    voting: SensorPair | None = None,
) -> JointlyOriented:
    """Orient two sensors by their magnetometers, each with the help of the other.

    1. Each sensor is oriented by its own signals (`kalman`).
    2. The heading between them is the mean, weighted by inverse variance, of what the two fields
       say (σ 0.2 of each field's spread, all of it lasting as long as the recording) and of what
       the joint centre says (the error of its mean over the recording). Their verticals are
       brought together (`twinangle.wearable.heading.relative_tilt.level_together`).
    3. In the frame they now share, the field ``E = w₁ B₁ + w₂ B₂``, w₁ + w₂ = 1, is the one with
       the least expected error of heading: w = S⁻¹1 / (1ᵀS⁻¹1). S is the covariance of the two
       fields' deviations (norm and upward part, means of one second), plus the variance of the
       heading between the sensors on either. A field that falls off with height deviates at the
       shank as at the thigh, only more; w₂ is then negative, and E is the field extrapolated to
       where the floor's share is zero.
    4. Each sensor is oriented again by E, as its own magnetometer would read it, and the mean of
       the two headings, set apart by the heading of step 2, is given to both. The noise figures
       are those of what is sought, the mean of two headings by one field: the gyroscopes' scale
       error divided by √2, the magnetometer's offset times √(w₁² + w₂²).

    Where the joint centre cannot tell the heading (AngleError there, or a coherence below 0.8),
    each sensor keeps its own, and a warning says so.

    Parameters
    ----------
    sensors : SensorPair
        Both with magnetometers, in any unit.
    parameters : KalmanParameters, optional
        Of one sensor; the defaults when left out.
    voting : SensorPair, optional
        The same signals with what is to have no vote on the heading left blank; `sensors` when
        left out.

    Returns
    -------
    JointlyOriented

    References
    ----------
    Weights of least variance: Aitken 1935, Proc R Soc Edinburgh 55:42 (Gauss-Markov). Magnetic
    fields above a laboratory floor: de Vries et al. 2009, Gait Posture 29:535. The rest is our own.
    """
    p = parameters or KalmanParameters()
    alone = OrientationPair(
        kalman(sensors.proximal, parameters=p), kalman(sensors.distal, parameters=p)
    )
    try:
        found = joint_centre_heading(voting or sensors, alone)
    except AngleError as error:
        return _each_alone(sensors, alone, str(error))
    if found.coherence < SURE_COHERENCE:
        return _each_alone(sensors, alone, found.warnings[0])
    magnetic = _relative_sd_deg(_fields(sensors, alone))
    share = magnetic**2 / (magnetic**2 + found.mean_error_deg**2)
    relative_sd = float(np.sqrt(share) * found.mean_error_deg)
    together = replace(found, heading_rad=share * found.heading_rad).apply(alone)
    together = level_together(sensors, together, found)
    fields = _fields(sensors, together)
    weights = common_weights(fields.deviation, relative_sd / HEADING_SHARE, fields.level)
    anchored = _by_common_field(sensors, together, fields, weights, _of_the_mean(p, weights))
    uncertainty = float(np.hypot(relative_sd, share * _drift_deg(found)))
    return JointlyOriented(anchored, True, float(weights[0]), uncertainty, found.warnings)


def _of_the_mean(parameters: KalmanParameters, weights: Array) -> KalmanParameters:
    """Return the noise figures of the mean of two headings by the common field."""
    return replace(
        parameters,
        scale_error=parameters.scale_error / float(np.sqrt(2.0)),
        vertical_scale_factor=_TURN_FACTOR,
        magnetometer_offset=parameters.magnetometer_offset * float(np.linalg.norm(weights)),
    )


def _drift_deg(found: HeadingEstimate) -> float:
    """Return how uncertain the heading at one time is about its own mean."""
    return float(np.sqrt(max(found.standard_error_deg**2 - found.mean_error_deg**2, 0.0)))


def common_weights(deviation: Array, relative_spread_deg: float, level: float) -> Array:
    """Return the weights of two fields in their common one, (2,), summing to 1.

    Parameters
    ----------
    deviation : (2, m) array
        Simultaneous deviations of both fields, as fractions of the field.
    relative_spread_deg : float
        Uncertainty of the heading between the sensors, in terms of a field's spread.
    level : float
        Horizontal share of the field.
    """
    own = deviation @ deviation.T / deviation.shape[1]
    relative = (np.radians(relative_spread_deg) * level) ** 2 / 2
    spread = own + np.eye(2) * relative + np.eye(2) * 1e-12
    weights = np.linalg.solve(spread, np.ones(2))
    return np.asarray(weights / weights.sum())


def _each_alone(sensors: SensorPair, alone: OrientationPair, why: str) -> JointlyOriented:
    text = f"each sensor's heading rests on its own magnetic field alone: {why}"
    warning = Notice(text, "heading-of-each-sensor-alone")
    sd = _relative_sd_deg(_fields(sensors, alone))
    return JointlyOriented(alone, False, float("nan"), sd, (warning,))


def _relative_sd_deg(fields: _Fields) -> float:
    """Return the standard deviation of the heading between the sensors by their fields alone."""
    return float(np.linalg.norm(np.hypot(CLEAN_DEG, HEADING_SHARE * fields.spread_deg)))


def _fields(sensors: SensorPair, oriented: OrientationPair) -> _Fields:
    both = (
        (sensors.proximal, oriented.proximal),
        (sensors.distal, oriented.distal),
    )
    earth = tuple(_earth_field(sensor, orientation) for sensor, orientation in both)
    known = np.asarray(np.isfinite(earth[0] + earth[1]).all(axis=1))
    means = [_block_means(field, known, sensors.proximal.rate_hz) for field in earth]
    deviation = np.stack(
        [
            np.concatenate([_centred(np.linalg.norm(mean, axis=1)), _centred(mean[:, 2])])
            for mean in means
        ]
    )
    level = float(np.median(np.hypot(means[0][:, 0], means[0][:, 1])))
    return _Fields((earth[0], earth[1]), deviation, max(level, 0.05))


def _earth_field(sensor: InertialRecording, orientation: OrientationRecording) -> Array:
    assert sensor.magnetometer is not None
    norm = np.nanmedian(np.linalg.norm(sensor.magnetometer, axis=1))
    return quaternions.rotate(orientation.quaternion, sensor.magnetometer / norm)


def _block_means(field: Array, known: NDArray[np.bool_], rate_hz: float) -> Array:
    block = (np.flatnonzero(known) / (rate_hz * BLOCK_S)).astype(np.int64)
    count = np.bincount(block)
    sums = np.stack([np.bincount(block, weights=column) for column in field[known].T], axis=1)
    return np.asarray(sums[count > 0] / count[count > 0, None])


def _centred(values: Array) -> Array:
    return np.asarray(values - values.mean())


def _by_common_field(
    sensors: SensorPair,
    together: OrientationPair,
    fields: _Fields,
    weights: Array,
    parameters: KalmanParameters,
) -> OrientationPair:
    """Orient both by the common field, and give both the mean of the two headings."""
    common = weights[0] * fields.earth[0] + weights[1] * fields.earth[1]
    first, second = (
        _turns_to(sensor, orientation, common, own, parameters)
        for sensor, orientation, own in (
            (sensors.proximal, together.proximal, fields.earth[0]),
            (sensors.distal, together.distal, fields.earth[1]),
        )
    )
    lost = np.isnan(first) | np.isnan(second)
    mean = np.angle(np.where(lost, np.where(np.isnan(first), second, first), first + second))
    turn = quaternions.about_axis(_UP, mean)

    def turned(orientation: OrientationRecording) -> OrientationRecording:
        return replace(orientation, quaternion=quaternions.multiply(turn, orientation.quaternion))

    return OrientationPair(turned(together.proximal), turned(together.distal))


def _turns_to(
    sensor: InertialRecording,
    orientation: OrientationRecording,
    common: Array,
    own: Array,
    parameters: KalmanParameters,
) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    """Return the turn about the vertical from a sensor's orientation to that by the common field.

    Unit complex numbers, (n,), NaN where there is no orientation. Where the other sensor has no
    field, the sensor's own stands in.
    """
    field = np.where(np.isfinite(common), common, own)
    reading = quaternions.rotate(quaternions.conjugate(orientation.quaternion), field)
    again = kalman(replace(sensor, magnetometer=reading), parameters=parameters)
    between = quaternions.multiply(again.quaternion, quaternions.conjugate(orientation.quaternion))
    half = between[:, 0] + 1j * between[:, 3]
    with np.errstate(invalid="ignore"):  # no orientation, no turn
        return np.asarray((half / np.abs(half)) ** 2)
