"""Whether each sensor sits on the segment the study says it does.

The flexion angle of a hinge is the same when the two sensors are swapped, so the angle cannot
tell. Their lever arms can: in neutral standing a thigh (upper arm) sensor is above the joint
centre, a shank (forearm) sensor below it.
"""

from __future__ import annotations

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, OrientationPair, SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions
from twinangle.wearable.heading.joint_centre import (
    find_joint_centre,
    liveliest,
    shared_terms,
)

SLOWER_SHARE = 0.8  # a shank or forearm in motion turns faster than this share of the other
_SURE_SE = 4.0  # standard errors, and
_SURE_M = 0.03  # metres, by which the arms' heights must part before a swap is claimed


def require_placement(
    sensors: SensorPair, oriented: OrientationPair, standing: OrientationPair, joint: str
) -> None:
    """Refuse sensors whose lever arms show that proximal and distal are swapped.

    Silent when the motion was too little to tell.

    Parameters
    ----------
    sensors, oriented : SensorPair, OrientationPair
        Signals and orientations of the walk.
    standing : OrientationPair
        Orientations in neutral standing.
    joint : str
        For the message.

    Raises
    ------
    AngleError
        If the proximal sensor is below the joint centre and the distal one above it.
    """
    heights = arm_heights(sensors, oriented, standing)
    if heights is None:
        return
    proximal_m, distal_m, error_m = heights
    swapped = distal_m - proximal_m > max(_SURE_SE * error_m, _SURE_M)
    if swapped and proximal_m < 0 < distal_m:
        raise AngleError(
            f"proximal and distal sensor are swapped: in standing the proximal sensor lies "
            f"{-100 * proximal_m:.0f} cm below the {joint} and the distal one "
            f"{100 * distal_m:.0f} cm above it (from the accelerations of the joint centre). "
            "Exchange the columns of [wearable.proximal] and [wearable.distal] in the study file."
        )


def arm_heights(
    sensors: SensorPair, oriented: OrientationPair, standing: OrientationPair
) -> tuple[float, float, float] | None:
    """Return how high each sensor is above the joint centre in standing, and the error, in m.

    None when there is too little signal. The error is that of the difference of the heights.
    """
    both = (sensors.proximal, sensors.distal)
    terms = shared_terms(both, (oriented.proximal, oriented.distal), liveliest(*both))
    if terms[0].sample.size < 100:
        return None
    centre = find_joint_centre(*terms)
    up_p, up_d = _upward(standing.proximal.quaternion), _upward(standing.distal.quaternion)
    direction = np.concatenate([up_p, -up_d])
    error = float(np.sqrt(direction @ centre.arm_covariance @ direction))
    return float(up_p @ centre.proximal_arm_m), float(up_d @ centre.distal_arm_m), error


def slow_distal_warning(rates_rad_s: tuple[Array, Array], joint: str) -> tuple[str, ...]:
    """Warn when the distal segment turns less than the proximal one: weak evidence of a swap."""
    proximal, distal = (
        float(np.degrees(np.sqrt(np.nanmean(np.sum(rate**2, axis=1))))) for rate in rates_rad_s
    )
    if distal >= SLOWER_SHARE * proximal:
        return ()
    slower, faster = told_apart(distal, proximal, 0)
    warning = (
        f"the distal sensor turns more slowly ({slower} °/s RMS) than the proximal one "
        f"({faster} °/s), unlike a {joint} in walking: check that [wearable.proximal] and "
        "[wearable.distal] are not swapped in the study file."
    )
    return (Notice(warning, "sensors-swapped", size=proximal - distal),)


def _upward(quaternion: Array) -> Array:
    """Return the mean direction of the vertical in the sensor's frame."""
    up = quaternions.rotate(quaternions.conjugate(quaternion), np.array([0.0, 0.0, 1.0]))
    mean = np.nanmean(up, axis=0)
    return np.asarray(mean / np.linalg.norm(mean))
