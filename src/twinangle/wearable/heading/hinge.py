"""The joint as a hinge: its axis in both sensors from their gyroscopes, and the heading from it.

Across a hinge the two angular velocities differ along the axis only, so their parts square to the
axis are equally long: ``‖ω₁ × j₁‖ = ‖ω₂ × j₂‖``. A knee is no pure hinge: abduction and rotation
go with flexion, and the axis found so is tilted (about 15° at ±4° of out-of-plane motion).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, OrientationPair, SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions
from twinangle.wearable.heading.drift import (
    at_samples,
    follow_heading,
    fresh_starts,
    seconds_of,
)
from twinangle.wearable.heading.joint_centre import (
    find_joint_centre,
    horizontal,
    liveliest,
    shared_terms,
)
from twinangle.wearable.heading.relative import HeadingEstimate
from twinangle.wording import count as counted

SYSTEMATIC_DEG = 10.0  # heading error of the hinge constraint on a knee, whatever the statistics
_SLOW_RAD_S = 0.3
_MOST_SAMPLES = 300
_LEAST_HORIZONTAL = 0.5  # an axis steeper than 60° says nothing about heading
_SIGN_RATIO = 1.1  # the wrong direction must misfit the accelerations this much more


@dataclass(frozen=True, slots=True, eq=False)
class HingeAxes:
    """One axis seen from both sensors; whether the two point the same way is not known."""

    proximal: Array  # (3,) unit, proximal sensor frame
    distal: Array  # (3,) unit, distal sensor frame
    residual_rad_s: float  # RMS of ‖ω₁ × j₁‖ − ‖ω₂ × j₂‖


def hinge_axes(proximal_rad_s: Array, distal_rad_s: Array) -> HingeAxes:
    """Find the hinge axis in both sensors from their angular velocities.

    Parameters
    ----------
    proximal_rad_s, distal_rad_s : (n, 3) array
        Gyroscopes of the two sensors, sample for sample; NaN rows are left out.

    Returns
    -------
    HingeAxes
        The least-squares solution (soft L1 loss), refined from the best two of 49 starts.

    Raises
    ------
    AngleError
        If there are too few samples in which either sensor turns.

    References
    ----------
    Seel, Schauer & Raisch (2012, IEEE Int Conf Control Applications, 45-49); Olsson et al. (2020,
    Sensors 20:3534) for the choice of samples and loss.
    """
    speed = np.linalg.norm(np.concatenate([proximal_rad_s, distal_rad_s], axis=1), axis=1)
    with np.errstate(invalid="ignore"):
        moving = np.flatnonzero(speed > _SLOW_RAD_S)
    if moving.size < 50:
        raise AngleError(
            f"hinge axis: {counted(moving.size, 'sample')} in which the sensors turn faster than "
            f"{np.degrees(_SLOW_RAD_S):.0f} °/s; at least 50 are needed."
        )
    chosen = moving[:: max(1, moving.size // _MOST_SAMPLES)]
    one, two = proximal_rad_s[chosen], distal_rad_s[chosen]
    first, second = (np.linalg.eigh(rates.T @ rates)[1] for rates in (one, two))

    def misfit(angles: Array) -> Array:
        return np.asarray(
            np.linalg.norm(quaternions.cross(one, _unit(angles[:2], first)), axis=1)
            - np.linalg.norm(quaternions.cross(two, _unit(angles[2:], second)), axis=1)
        )

    def slope(angles: Array) -> Array:
        left = _square_part_slope(one, _unit(angles[:2], first)) @ _tangent(angles[:2], first)
        right = _square_part_slope(two, _unit(angles[2:], second)) @ _tangent(angles[2:], second)
        return np.concatenate([left, -right], axis=1)

    poles = [(0.1, 0.0), *((1.2, turn) for turn in np.arange(0.1, np.pi, np.pi / 6))]
    left, right = (
        [
            np.linalg.norm(quaternions.cross(rates, _unit(np.array(pole), basis)), axis=1)
            for pole in poles
        ]
        for rates, basis in ((one, first), (two, second))
    )
    pairs = sorted(
        product(range(len(poles)), repeat=2),
        key=lambda pair: float(np.sum(np.abs(left[pair[0]] - right[pair[1]]))),
    )
    starts = [np.array([*poles[a], *poles[b]]) for a, b in pairs[:2]]
    fits = [
        scipy.optimize.least_squares(
            misfit, start, jac=slope, loss="soft_l1", f_scale=0.1, max_nfev=30
        )
        for start in starts
    ]
    best = min(fits, key=lambda fit: float(fit.cost))
    return HingeAxes(
        _unit(best.x[:2], first),
        _unit(best.x[2:], second),
        float(np.sqrt(np.mean(misfit(best.x) ** 2))),
    )


def hinge_heading(sensors: SensorPair, oriented: OrientationPair) -> HeadingEstimate:
    """Estimate the heading difference by taking the joint for a hinge.

    ``δ = arg Σ h₁ h₂*`` of the axis's horizontal parts seen from both sensors, one sum a second,
    joined by a random-walk smoother. (δ, j) and (δ + 180°, −j) fit a horizontal axis equally well:
    the accelerations of the joint centre decide.

    Parameters
    ----------
    sensors : SensorPair
        Raw signals; magnetometers are not used.
    oriented : OrientationPair
        Six-axis orientations of the same samples.

    Returns
    -------
    HeadingEstimate
        With a standard error of at least the systematic 10° this constraint has on a knee.

    Raises
    ------
    AngleError
        If the joint hardly moved, its axis is steeper than 60°, or its direction stays open.

    References
    ----------
    Laidig, Schauer & Seel (2017, IEEE Int Conf Rehabilitation Robotics, 971-976) for the hinge;
    Lehmann et al. (2020, IFAC-PapersOnLine 53:16016-16022, from memory) for a range of motion.
    """
    axes = hinge_axes(sensors.proximal.gyroscope, sensors.distal.gyroscope)
    rates = sensors.proximal.gyroscope + sensors.distal.gyroscope
    counted = np.asarray(np.isfinite(rates).all(axis=1))
    heading, variance = axis_heading(oriented, axes.proximal, axes.distal, counted)
    ratio, flipped, arms, size = _direction(sensors, oriented, heading)
    if ratio < _SIGN_RATIO:
        found, least = told_apart(ratio, _SIGN_RATIO, 2)
        raise AngleError(
            "heading from the hinge: the accelerations cannot tell which way the axis points "
            f"(misfits {found} : 1, at least {least} : 1 is needed). Give a recording "
            "in which the joint itself is accelerated, as in walking and squats, or use a "
            "procedure with magnetometers."
        )
    error = float(np.hypot(np.degrees(np.sqrt(variance)), SYSTEMATIC_DEG))
    warning = (
        f"heading from the hinge: a knee is no pure hinge, so the heading is uncertain by about "
        f"{error:.0f}°, and the flexion angle was seen to lose up to 2° (RMS) by it."
    )
    return HeadingEstimate(
        heading + np.pi * flipped,
        error,
        error,  # nearly all of it is systematic
        float("nan"),
        size[0],
        size[1],
        arms[:3],
        arms[3:],
        (Notice(warning, "heading-from-hinge", size=error),),
    )


def axis_heading(
    oriented: OrientationPair,
    proximal_axis: Array,
    distal_axis: Array,
    counted: NDArray[np.bool_] | None = None,
) -> tuple[Array, float]:
    """Return the heading difference at every sample (rad) that makes one axis of two, and variance.

    Only the samples `counted` have a vote; all of them where it is None.

    Raises
    ------
    AngleError
        If the axis is steeper than 60° most of the time, where it says nothing about heading.
    """
    one = horizontal(quaternions.rotate(oriented.proximal.quaternion, proximal_axis))
    two = horizontal(quaternions.rotate(oriented.distal.quaternion, distal_axis))
    seen = np.isfinite(one) & np.isfinite(two)
    known = np.flatnonzero(seen if counted is None else seen & counted)
    level = np.sqrt(np.mean(np.abs(one[known] * two[known]))) if known.size else 0.0
    if level < _LEAST_HORIZONTAL:
        flat, least = told_apart(float(level), _LEAST_HORIZONTAL, 2)
        raise AngleError(
            "heading from the hinge: the joint's axis is too steep to tell how the sensors are "
            f"turned about the vertical (its horizontal part is {flat} of its length, at "
            f"least {least} is needed)."
        )
    rate_hz, n = oriented.proximal.rate_hz, one.size
    fresh = fresh_starts(oriented)
    sums = np.zeros(fresh.size, dtype=complex)
    np.add.at(sums, seconds_of(known, rate_hz), one[known] * two[known].conj())
    noise = np.where(np.abs(sums) > 0, np.radians(SYSTEMATIC_DEG) ** 2, np.inf)
    followed = follow_heading(sums, noise, fresh, 0.0)
    heading = at_samples(followed.heading_rad, fresh, n, rate_hz)
    return heading, float(followed.variance_rad2.mean())


def _direction(
    sensors: SensorPair, oriented: OrientationPair, heading: Array
) -> tuple[float, bool, Array, tuple[float, float]]:
    """Return how much better one direction fits, whether it is the opposite one, and its arms."""
    both = (sensors.proximal, sensors.distal)
    one, two = shared_terms(both, (oriented.proximal, oriented.distal), liveliest(*both))
    turned = two.turned(heading[two.sample])
    fits = [find_joint_centre(one, turned, heading_rad=turn) for turn in (0.0, np.pi)]
    better = int(np.argmin([fit.residual_m_s2 for fit in fits]))
    fit, other = fits[better], fits[1 - better]
    size = float(np.sqrt(np.mean(np.abs(horizontal(one.force(fit.proximal_arm_m))) ** 2)))
    arms = np.concatenate([fit.proximal_arm_m, fit.distal_arm_m])
    ratio = other.residual_m_s2 / fit.residual_m_s2
    return ratio, bool(better), arms, (size, np.sqrt(2) * fit.residual_m_s2)


def _unit(angles: Array, basis: Array) -> Array:
    """Return a unit vector by its angle from the last basis vector and its turn about it."""
    away, turn = angles
    local = np.array([np.sin(away) * np.cos(turn), np.sin(away) * np.sin(turn), np.cos(away)])
    return np.asarray(basis @ local)


def _tangent(angles: Array, basis: Array) -> Array:
    """Return the derivative of :func:`_unit` by its two angles, (3, 2)."""
    away, turn = angles
    sine, cosine = np.sin(away), np.cos(away)
    local = np.array(
        [
            [cosine * np.cos(turn), -sine * np.sin(turn)],
            [cosine * np.sin(turn), sine * np.cos(turn)],
            [-sine, 0.0],
        ]
    )
    return np.asarray(basis @ local)


def _square_part_slope(rates: Array, axis: Array) -> Array:
    """Return the derivative of ‖ω × j‖ by j, (n, 3); zero where ω lies along j."""
    square = quaternions.cross(rates, axis)
    length = np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-12)
    return np.asarray(quaternions.cross(square, rates) / length)
