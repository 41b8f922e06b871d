"""From two segment orientations to the flexion angle: neutral standing, axis, projection.

All rotations of the joint are written in the distal sensor's frame at neutral standing:
``q_rel = q_p⁻¹ q_d`` and ``q_j = q_0⁻¹ q_rel``. A hinge joint turns `q_j` about one axis fixed in
that frame, whatever way the two sensors are mounted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, OrientationPair
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions

RateMethod = Literal["mean-rate", "principal-component"]

# Common practice, no source.
MOVED_DEG = 2.0  # scatter in standing above which the person is said to have moved
SHORT_STANDING_S = 1.0
"""Neutral standing below this is told. In seven stretches of 1.5 to 10 s in which the optical knees
of two people stood still the mean of 0.8 s lay 0.1° to 0.9° off that of the whole (RMS over its
places, median 0.3°; docs/background/wearable.md). A choice of ours."""
SMALLEST_MOVEMENT_DEG = 10.0  # a functional movement below this defines no axis
SMALL_MOVEMENT_DEG = 30.0  # below this the axis is warned about
TURNING_DEG_S = 25.0  # about the vertical, over 1.2 s: the person turns round
LEAST_STRAIGHT_S = 5.0
UNDECIDED = 0.8  # excursions to both sides of standing that are this alike decide no direction
_TURN_MEAN_S = 1.2
_SLOW_RAD_S = 0.1  # relative rates below this are noise, not movement


@dataclass(frozen=True, slots=True)
class NeutralStanding:
    """Relative orientation of the two sensors in neutral standing, and how steady it was."""

    quaternion: tuple[float, float, float, float]
    scatter_deg: float  # RMS angle of the samples from their mean
    n_samples: int

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the researcher should know about the standing interval."""
        if self.scatter_deg <= MOVED_DEG:
            return ()
        scatter, limit = told_apart(self.scatter_deg, MOVED_DEG)
        warning = (
            f"neutral standing: the joint scatters by {scatter}° (RMS) about its "
            f"mean, above {limit}°: the person moved. Choose a quieter interval."
        )
        return (Notice(warning, "moved-in-standing", "grave", self.scatter_deg),)


@dataclass(frozen=True, slots=True)
class FunctionalAxis:
    """Flexion axis (unit, distal sensor frame at neutral) and how well the movement shows it."""

    axis: tuple[float, float, float]
    method: str
    spread_deg: float  # RMS angle between the relative rate and the axis, weighted by speed²
    n_samples: int

    def reversed(self) -> FunctionalAxis:
        """Return the same axis pointing the other way."""
        x, y, z = self.axis
        return FunctionalAxis((-x, -y, -z), self.method, self.spread_deg, self.n_samples)


def relative_orientation(pair: OrientationPair) -> Array:
    """Return ``q_rel = q_p⁻¹ q_d``, (n, 4): the distal sensor as the proximal one sees it.

    Parameters
    ----------
    pair : OrientationPair
        Both sensors' orientations on one clock.

    Returns
    -------
    array, shape (n, 4)
        Unit quaternions.

    Raises
    ------
    ValueError
        If the two recordings do not share their clock and length.
    """
    proximal, distal = pair.proximal, pair.distal
    if proximal.quaternion.shape != distal.quaternion.shape or (
        proximal.start_s,
        proximal.rate_hz,
    ) != (distal.start_s, distal.rate_hz):
        raise ValueError(
            f"the two orientations must share one clock: {proximal.source} has "
            f"{proximal.quaternion.shape[0]} samples from {proximal.start_s:g} s at "
            f"{proximal.rate_hz:g} Hz, {distal.source} {distal.quaternion.shape[0]} from "
            f"{distal.start_s:g} s at {distal.rate_hz:g} Hz."
        )
    return quaternions.multiply(quaternions.conjugate(proximal.quaternion), distal.quaternion)


def relative_rate(relative: Array, rate_hz: float) -> Array:
    """Return the joint's angular velocity in the distal frame, rad/s, (n, 3); NaN beside gaps.

    Parameters
    ----------
    relative : array, shape (n, 4)
        The distal sensor as the proximal one sees it, unit quaternions.
    rate_hz : float
        Samples a second.

    Returns
    -------
    array, shape (n, 3)
        In rad/s.
    """
    return quaternions.body_rate(relative, rate_hz)


def short_standing(neutral: NeutralStanding, rate_hz: float) -> tuple[str, ...]:
    """Tell of a standing too short for its mean to be the person's, with what that costs."""
    lasts_s = neutral.n_samples / rate_hz
    if lasts_s > SHORT_STANDING_S - 1.5 / rate_hz:  # both ends of an interval count or do not
        return ()
    shown, limit = told_apart(lasts_s, SHORT_STANDING_S)
    text = (
        f"neutral standing lasts {shown} s only, below {limit} s: the zero of the angle is how the "
        "person swayed just then, 0.1° to 0.9° (RMS) off the mean of a longer standing in seven "
        "optical recordings, and the whole curve moves with it. Give some seconds."
    )
    return (Notice(text, "short-standing", "note", lasts_s),)


def neutral_orientation(relative: Array) -> NeutralStanding:
    """Average the relative orientation over neutral standing.

    Parameters
    ----------
    relative : (n, 4) array
        Relative orientations of the standing interval; NaN rows are left out.

    Returns
    -------
    NeutralStanding
        The mean rotation (the maximiser of Σ (q·q_k)², an eigenvector) and the scatter about it.

    Raises
    ------
    AngleError
        If no sample is left.

    References
    ----------
    Markley, Cheng, Crassidis & Oshman (2007). Averaging quaternions. J Guid Control Dyn 30:1193.
    """
    known = relative[np.isfinite(relative).all(axis=1)]
    if known.shape[0] == 0:
        raise AngleError(
            "neutral standing holds no sample with both sensors present. Choose another interval."
        )
    mean = (
        scipy.spatial.transform.Rotation.from_quat(known, scalar_first=True)
        .mean()
        .as_quat(scalar_first=True)
    )
    away = quaternions.angle_between(mean, known)
    w, x, y, z = (float(value) for value in mean)
    return NeutralStanding((w, x, y, z), float(np.sqrt(np.mean(away**2))), int(known.shape[0]))


def joint_rotation(relative: Array, neutral: NeutralStanding) -> Array:
    """Return ``q_j = q_0⁻¹ q_rel``, (n, 4): the joint's rotation away from neutral standing.

    Parameters
    ----------
    relative : array, shape (n, 4)
        The distal sensor as the proximal one sees it, unit quaternions.
    neutral : NeutralStanding
        The same in neutral standing.

    Returns
    -------
    array, shape (n, 4)
        Unit quaternions.
    """
    return quaternions.multiply(quaternions.conjugate(np.array(neutral.quaternion)), relative)


def functional_axis(relative_rate_rad_s: Array, method: RateMethod = "mean-rate") -> FunctionalAxis:
    """Find the axis the joint turned about in the functional movement.

    Parameters
    ----------
    relative_rate_rad_s : (n, 3) array
        Angular velocity of the joint in the distal frame; NaN rows are left out.
    method : {"mean-rate", "principal-component"}
        The mean of the rates after each is turned to the same side (so weighted by speed), or
        the eigenvector of Σ ω ωᵀ with the largest eigenvalue (weighted by speed squared).

    Returns
    -------
    FunctionalAxis
        Its sign is arbitrary here; :func:`settle_sign` decides it.

    Raises
    ------
    AngleError
        If the joint hardly moved.
    ValueError
        If `method` is not one of the two.
    """
    if method not in ("mean-rate", "principal-component"):
        raise ValueError(f"`method` must be 'mean-rate' or 'principal-component', got {method!r}.")
    with np.errstate(invalid="ignore"):
        moving = np.linalg.norm(relative_rate_rad_s, axis=1) > _SLOW_RAD_S  # False at NaN
    rates = relative_rate_rad_s[moving]
    if rates.shape[0] < 10:
        raise AngleError(
            f"the functional movement holds {rates.shape[0]} samples in which the joint turns "
            f"faster than {np.degrees(_SLOW_RAD_S):.0f} °/s: no flexion axis can be found. "
            "Give an interval with a few full flexions."
        )
    axis = np.linalg.eigh(rates.T @ rates)[1][:, -1]
    if method == "mean-rate":
        mean = (np.where(rates @ axis < 0, -1.0, 1.0)[:, None] * rates).mean(axis=0)
        axis = mean / np.linalg.norm(mean)
    return axis_of_rates(rates, axis, method)


def axis_of_rates(relative_rate_rad_s: Array, axis: Array, method: str) -> FunctionalAxis:
    """Return a known axis with how far the joint's rates (n, 3) spread about it."""
    rates = relative_rate_rad_s[np.isfinite(relative_rate_rad_s).all(axis=1)]
    speed2 = np.sum(rates**2, axis=1)
    off = np.arctan2(np.linalg.norm(np.cross(rates, axis), axis=1), np.abs(rates @ axis))
    spread = np.degrees(np.sqrt(np.average(off**2, weights=speed2)))
    x, y, z = (float(value) for value in axis)
    return FunctionalAxis((x, y, z), method, float(spread), int(rates.shape[0]))


def project_flexion(rotation: Array, axis: Array) -> Array:
    """Return the flexion angle in degrees, (n,): the turn about `axis` nearest to `rotation`.

    ``θ = 2 atan2(q_v·a, q_w)`` wrapped to ±180°. It minimises the angle between the joint's
    rotation and a rotation by θ about the axis: the cosine of half that angle is
    ``|q_w cos θ/2 + (q_v·a) sin θ/2|``, largest where (cos θ/2, sin θ/2) points along
    (q_w, q_v·a). NaN rows give NaN. It is undefined (0 is returned) only for a half turn about an
    axis square to `axis`.

    Parameters
    ----------
    rotation : (n, 4) array
        Joint rotation away from neutral, unit quaternions.
    axis : (3,) array
        Flexion axis, unit, in the distal frame at neutral; flexion is a positive turn about it.

    Returns
    -------
    array, shape (n,)
        In degrees.

    References
    ----------
    The twist of a swing-twist decomposition: Dobrowolski (2015). arXiv:1506.05481.
    """
    angle = np.degrees(2.0 * np.arctan2(rotation[:, 1:] @ np.asarray(axis), rotation[:, 0]))
    return np.asarray((angle + 180.0) % 360.0 - 180.0)


def residual_angle(rotation: Array, axis: Array) -> Array:
    """Return how far the joint strays from the hinge, degrees ≥ 0, (n,).

    The angle of what is left of the joint's rotation after the flexion about `axis` is taken
    out: ``2 acos √(q_w² + (q_v·a)²)``, written with atan2 so that small angles keep their digits.

    Parameters
    ----------
    rotation : array, shape (n, 4)
        Joint rotation away from neutral, unit quaternions.
    axis : array, shape (3,)
        Flexion axis, unit.

    Returns
    -------
    array, shape (n,)
        In degrees.
    """
    along = rotation[:, 1:] @ np.asarray(axis)
    across = np.linalg.norm(rotation[:, 1:] - along[:, None] * np.asarray(axis), axis=1)
    return np.asarray(np.degrees(2.0 * np.arctan2(across, np.hypot(rotation[:, 0], along))))


def angle_between_axes(first: Array, second: Array) -> float:
    """Return the angle between two axes in degrees, 0 to 90: an axis has no direction here."""
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), abs(a @ b))))


def straight(pair: OrientationPair) -> NDArray[np.bool_]:
    """Return at which samples the person does not turn round, (n,).

    In a turn a wrong heading shows as flexion, so it must not vote on flexion's direction. A turn
    is a mean rate of the proximal segment about the vertical of more than 25 °/s over 1.2 s, about
    a stride. Where less than 5 s are left, all samples vote.
    """
    proximal = pair.proximal
    rate = quaternions.body_rate(proximal.quaternion, proximal.rate_hz)
    vertical = np.nan_to_num(quaternions.rotate(proximal.quaternion, rate)[:, 2])
    length = max(1, min(round(_TURN_MEAN_S * proximal.rate_hz), vertical.size))
    mean = np.convolve(vertical, np.ones(length) / length, mode="same")
    on = np.asarray(np.abs(mean) < np.radians(TURNING_DEG_S))
    enough = on.sum() >= LEAST_STRAIGHT_S * proximal.rate_hz
    return on if enough else np.ones_like(on)


def settle_sign(axis: FunctionalAxis, rotation: Array) -> tuple[FunctionalAxis, tuple[str, ...]]:
    """Turn the axis so that flexion is positive in the functional movement.

    The rule: in the functional movement the joint leaves neutral standing into flexion, so the
    larger excursion from neutral is flexion. (A knee or an elbow passes straight by a few degrees
    at most.) Excursions are the 1st and 99th percentile, so that one stray sample cannot decide.

    Parameters
    ----------
    axis : FunctionalAxis
        Axis of either direction.
    rotation : (n, 4) array
        Joint rotations away from neutral during the functional movement.

    Returns
    -------
    (FunctionalAxis, tuple of str)
        The axis with its direction settled, and warnings.

    Raises
    ------
    AngleError
        If the joint left neutral standing by less than 10°, or alike to both sides.
    """
    angle = project_flexion(rotation, np.array(axis.axis))
    if not np.isfinite(angle).any():
        raise AngleError("the functional movement holds no sample with both sensors present.")
    low, high = (float(value) for value in np.nanpercentile(angle, [1.0, 99.0]))
    larger, smaller = max(high, -low), min(high, -low)
    if larger < SMALLEST_MOVEMENT_DEG:
        reached, least = told_apart(larger, SMALLEST_MOVEMENT_DEG)
        raise AngleError(
            f"in the functional movement the joint leaves neutral standing by {reached}° only; "
            f"at least {least}° is needed to tell flexion from extension. Check "
            "the functional and static intervals, or give an interval with a few full flexions."
        )
    if smaller > UNDECIDED * larger:
        alike, limit = told_apart(smaller / larger, UNDECIDED, 2)
        raise AngleError(
            f"in the functional movement the joint goes {larger:.0f}° to one side of neutral "
            f"standing and {smaller:.0f}° to the other ({alike} of it, limit {limit}), so that "
            "flexion cannot be told from extension: the angle may be mirrored. Check the static "
            "interval, the axes of both sensors, and whether the recording was pieced together; "
            "or give an interval with a few full flexions."
        )
    warnings = []
    if larger < SMALL_MOVEMENT_DEG:
        reached, enough = told_apart(larger, SMALL_MOVEMENT_DEG, 0)
        text = (
            f"the functional movement spans {reached}° of flexion only; the axis is the surer "
            f"the larger the movement ({enough}° and more)."
        )
        warnings.append(Notice(text, "small-functional-movement", size=-larger))
    if smaller > larger / 2:
        text = (
            f"in the functional movement the joint goes {larger:.0f}° to one side of neutral "
            f"standing and {smaller:.0f}° to the other; the larger was taken as flexion. Check "
            "the static interval and the sign of the angle."
        )
        warnings.append(Notice(text, "direction-of-flexion", "grave", smaller / larger))
    return (axis if high >= -low else axis.reversed()), tuple(warnings)
