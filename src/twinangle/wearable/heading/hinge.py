"""The joint as a hinge: its axis in both sensors from their gyroscopes, and the heading from it.

Across a hinge the two angular velocities differ along the axis only, so their parts square to the
axis are equally long: ``‖ω₁ × j₁‖ = ‖ω₂ × j₂‖``. A knee is no pure hinge: abduction and rotation
go with flexion, and the axis found so is tilted (about 15° at ±4° of out-of-plane motion).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
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
_LOSS_RAD_S = 0.1  # misfit from which the loss grows as its size, no longer as its square
_STARTS, _FIRST_STEPS, _MOST_STEPS = 6, 16, 40
_LONGEST_STEP, _LEAST_STEP = 0.5, 1e-8  # radians
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
        The least-squares solution (soft L1 loss), refined from the best six of 49 starts.

    Raises
    ------
    AngleError
        If there are too few samples in which either sensor turns.

    See Also
    --------
    twinangle.wearable.heading.hinge_certainty.certainty : how well the movement determines them.

    References
    ----------
    Seel, Schauer & Raisch (2012, IEEE Int Conf Control Applications, 45-49); Olsson et al. (2020,
    Sensors 20:3534) for the choice of samples and loss.
    """
    one, two = moving_samples(proximal_rad_s, distal_rad_s)
    fit = _fitted(one, two, _starts(one, two))
    return HingeAxes(fit[0], fit[1], float(np.sqrt(np.mean(_misfit(one, two, *fit) ** 2))))


def moving_samples(proximal_rad_s: Array, distal_rad_s: Array) -> tuple[Array, Array]:
    """Return some 300 samples (m, 3) of either sensor's rates in which either sensor turns.

    Raises
    ------
    AngleError
        If there are fewer than 50 such samples.
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
    return proximal_rad_s[chosen], distal_rad_s[chosen]


def _starts(one: Array, two: Array, count: int = _STARTS) -> Array:
    """Return the pairs of axes that misfit least of 49 pairs spread evenly, (count, 2, 3)."""
    poles = np.array([(0.1, 0.0), *((1.2, turn) for turn in np.arange(0.1, np.pi, np.pi / 6))])
    away, turn = poles.T
    local = [np.sin(away) * np.cos(turn), np.sin(away) * np.sin(turn), np.cos(away)]
    axes, square = [], []
    for rates in (one, two):
        axes.append((np.linalg.eigh(rates.T @ rates)[1] @ local).T)
        along = rates @ axes[-1].T
        square.append(np.sqrt(np.maximum(np.sum(rates**2, axis=1)[:, None] - along**2, 0.0)).T)
    misfit = np.abs(square[0][:, None] - square[1]).sum(axis=2)
    best = np.unravel_index(np.argsort(misfit, axis=None, kind="stable")[:count], misfit.shape)
    return np.stack([axes[0][best[0]], axes[1][best[1]]], axis=1)


def _misfit(one: Array, two: Array, first: Array, second: Array) -> Array:
    """Return by how much the rates' parts square to the two axes differ in length, (n,)."""
    return np.asarray(
        np.linalg.norm(quaternions.cross(one, first), axis=1)
        - np.linalg.norm(quaternions.cross(two, second), axis=1)
    )


def _fitted(one: Array, two: Array, starts: Array) -> Array:
    """Return the pair of axes of least cost, refined from each start (k, 2, 3), as (2, 3).

    All starts at once for some steps, then the best of them to the end. With t and u square to the
    axis j, ``‖ω × j‖² = (ω·t)² + (ω·u)²``, and turning j by a towards t and by b towards u changes
    that length by ``−(ω·j) (a ω·t + b ω·u) / ‖ω × j‖``. The cost is ``Σ c² (√(1 + (f/c)²) − 1)`` of
    the misfits f, c = 0.1 rad/s; a misfit enters the slope with the loss's first derivative and
    the curvature with ``(1 + (f/c)²)^−3/2``, as in scipy's ``least_squares``. That finds the same
    axes (tests/wearable/test_hinge_fit.py), a start at a time and in several times as long.
    """
    frames, cost = refined(one, two, axis_frames(starts), _FIRST_STEPS)
    frames, cost = refined(one, two, frames[[np.argmin(cost)]], _MOST_STEPS)
    return np.asarray(frames[0, :, 2])


def refined(
    one: Array, two: Array, frames: Array, most_steps: int, turning: slice = slice(None)
) -> tuple[Array, Array]:
    """Return the frames after damped steps (Levenberg, Marquardt) from each, and their costs.

    `turning` are the turns to step by: the first two are the proximal axis's.
    """
    free = np.zeros(4)
    free[turning] = 1.0
    damping = np.full(len(frames), 1e-3)
    cost, slope, curvature = _cost_and_slope(one, two, frames)
    for _ in range(most_steps):
        size = damping[:, None] * np.einsum("kii->ki", curvature) + 1e-12
        bent = curvature * free * free[:, None] + np.eye(4) * size[:, None]
        step = np.linalg.solve(bent, -(free * slope)[..., None])[..., 0]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        step *= np.minimum(_LONGEST_STEP / np.maximum(length, 1e-12), 1.0)
        tried = axis_frames(_turned(frames, step))
        new = _cost_and_slope(one, two, tried)
        better = new[0] <= cost
        frames[better], cost[better] = tried[better], new[0][better]
        slope[better], curvature[better] = new[1][better], new[2][better]
        damping *= np.where(better, 0.1, 10.0)
        if length.max() < _LEAST_STEP:
            break
    return frames, cost


def axis_frames(axes: Array) -> Array:
    """Return two unit vectors square to each axis (k, 2, 3), and the axis, (k, 2, 3, 3)."""
    least = np.eye(3)[np.argmin(np.abs(axes), axis=-1)]
    first = quaternions.cross(axes, least)
    first /= np.linalg.norm(first, axis=-1, keepdims=True)
    return np.stack([first, quaternions.cross(axes, first), axes], axis=-2)


def _turned(frames: Array, step: Array) -> Array:
    """Return the axes (k, 2, 3) turned by steps (k, 4) towards the two vectors square to them."""
    step = step.reshape(-1, 2, 2, 1)
    axes = frames[:, :, 2] + (step * frames[:, :, :2]).sum(axis=2)
    return np.asarray(axes / np.linalg.norm(axes, axis=-1, keepdims=True))


def _cost_and_slope(one: Array, two: Array, frames: Array) -> tuple[Array, Array, Array]:
    """Return cost (k,), its slope (k, 4) and curvature (k, 4, 4) by turns of both axes."""
    lengths, slopes = [], []
    for side, rates in enumerate((one, two)):
        parts = frames[:, side] @ rates.T  # along t, u and the axis
        length = np.sqrt(parts[:, 0] ** 2 + parts[:, 1] ** 2)
        lengths.append(length)
        slopes.append(parts[:, :2] * (-parts[:, 2] / np.maximum(length, 1e-12))[:, None])
    misfit = lengths[0] - lengths[1]
    by_turn = np.concatenate([slopes[0], -slopes[1]], axis=1)
    root = np.sqrt(1.0 + (misfit / _LOSS_RAD_S) ** 2)
    slope = (by_turn @ (misfit / root)[..., None])[..., 0]
    curvature = (by_turn / root[:, None] ** 3) @ np.swapaxes(by_turn, 1, 2)
    return _LOSS_RAD_S**2 * (root - 1.0).sum(axis=1), slope, curvature


@lru_cache(maxsize=2)  # the angle's quality and the magnetic field's effect ask for the same
def hinge_of(sensors: SensorPair) -> HingeAxes:
    """Find the hinge axis in both sensors of a pair, see :func:`hinge_axes`.

    Parameters
    ----------
    sensors : SensorPair
        Of which the gyroscopes are taken.

    Raises
    ------
    AngleError
        If there are too few samples in which either sensor turns.
    """
    return hinge_axes(sensors.proximal.gyroscope, sensors.distal.gyroscope)


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
    axes = hinge_of(sensors)
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
