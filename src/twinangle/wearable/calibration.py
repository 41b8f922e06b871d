"""Where neutral standing and the functional movement turn orientations into a flexion angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    AngleQuality,
    AngleRecording,
    Array,
    Interval,
    JointMotion,
    OrientationPair,
    SensorPair,
)
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions
from twinangle.wearable.flexion import (
    FunctionalAxis,
    NeutralStanding,
    angle_between_axes,
    axis_of_rates,
    functional_axis,
    joint_rotation,
    neutral_orientation,
    project_flexion,
    relative_orientation,
    relative_rate,
    residual_angle,
    settle_sign,
    short_standing,
    straight,
)
from twinangle.wearable.heading.hinge import hinge_axes, hinge_of
from twinangle.wearable.heading.hinge_certainty import AWAY_DEG, certainty
from twinangle.wearable.procedure_input import (
    AxisMethod,
    OrientedTrial,
    WearableTrial,
    slice_pair,
)
from twinangle.wearable.quality.placement import slow_distal_warning
from twinangle.wearable.vertical import vertical_warnings

# Common practice, no source.
AXES_DIFFER_DEG = 10.0  # angle between axis estimates above which the axis is warned about

# An axis 10° away must misfit the gyroscopes this much more than the best one. Own choice; ground:
# honest and planar, proportional movements in docs/background/wearable.md.
LEAST_HINGE = 1.1
SURE_HINGE = 3.0


@dataclass(frozen=True, slots=True)
class JointCalibration:
    """The mounting of the two sensors: neutral standing and the flexion axis."""

    neutral: NeutralStanding
    axis: FunctionalAxis
    axis_difference_deg: float  # mean rate against principal component
    warnings: tuple[str, ...]


def calibrate(
    oriented: OrientedTrial,
    axis_method: AxisMethod = "mean-rate",
    analysed: Interval | None = None,
) -> JointCalibration:
    """Find neutral standing, the flexion axis and its direction.

    Without a functional movement the axis is found from the walk itself and a warning says so:
    in walking the joint also turns out of its flexion plane, and the axis was seen 4° to 9° off.
    Only the stretch `analysed` of the walk has a vote then.

    Raises
    ------
    AngleError
        If standing is empty, the joint hardly moved, or it moved so that the axis asked for is
        not determined.
    """
    neutral = neutral_orientation(relative_orientation(oriented.static))
    movement = oriented.functional or _part(oriented.walk, analysed)
    relative = relative_orientation(movement)
    rate = relative_rate(relative, movement.distal.rate_hz)
    mean = functional_axis(rate)
    principal = functional_axis(rate, "principal-component")
    difference = angle_between_axes(np.array(mean.axis), np.array(principal.axis))
    axis = {"mean-rate": mean, "principal-component": principal}.get(axis_method)
    uncertain: tuple[str, ...] = ()
    from_walk = oriented.functional is None
    if axis is None:
        hinge, ratio = _hinge_axis(movement)
        apart_deg = angle_between_axes(hinge, np.array(mean.axis))
        uncertain = _hinge_uncertain(ratio, apart_deg, from_walk)
        axis = axis_of_rates(rate, hinge, axis_method)
    voting = joint_rotation(relative, neutral)[straight(movement)]
    axis, sign_warnings = settle_sign(axis, voting)
    warnings = (
        *uncertain,
        *neutral.warnings,
        *short_standing(neutral, oriented.static.distal.rate_hz),
        *_axis_warnings(difference, from_walk),
        *sign_warnings,
    )
    return JointCalibration(neutral, axis, difference, warnings)


def _axis_warnings(difference_deg: float, from_walk: bool) -> list[str]:
    """Return what makes the axis uncertain whichever method found it."""
    warnings: list[str] = []
    if from_walk:
        text = (
            "no functional movement is given: the flexion axis was taken from the walk itself, "
            "where it is typically 4° to 9° off, so that 7 % to 16 % (the sine) of what the "
            "joint turns about its other axes is counted as flexion. Give `functional_start_s` and "
            "`functional_end_s`, or a `functional` file, in the trials table, where the movement "
            "was safe for the participant (docs/how-to/recording.md)."
        )
        warnings.append(Notice(text, "axis-from-the-walk"))
    if difference_deg > AXES_DIFFER_DEG:
        apart, limit = told_apart(difference_deg, AXES_DIFFER_DEG, 0)
        text = (
            f"the flexion axis is uncertain: its mean-rate and principal-component estimates "
            f"differ by {apart}°, above {limit}°."
        )
        warnings.append(Notice(text, "axis-uncertain", size=difference_deg))
    return warnings


def _part(walk: OrientationPair, stretch: Interval | None) -> OrientationPair:
    """Return the stretch of the walk, as far as it was recorded."""
    if stretch is None:
        return walk
    one = walk.proximal
    first, n = one.start_s, one.quaternion.shape[0]
    last = first + (n - 1) / one.rate_hz
    inside = Interval(max(stretch.start_s, first), min(stretch.end_s, last))
    return slice_pair(walk, inside, "analysed")


def measure_motion(trial: WearableTrial, oriented: OrientedTrial) -> JointMotion:
    """Return the trial's flexion angle, its rates, and what its quality is known to be.

    Raises
    ------
    AngleError
        If the sensors cannot be calibrated, see :func:`calibrate`.
    """
    calibration = calibrate(oriented, trial.axis_method, trial.analysed)
    lost: tuple[str, ...] = ()
    voting = trial.voting
    if isinstance(voting, SensorPair):
        lost = vertical_warnings(voting, oriented.walk)
    axis = np.array(calibration.axis.axis)
    rotation = joint_rotation(relative_orientation(oriented.walk), calibration.neutral)
    distal = oriented.walk.distal
    rates = segment_rates(trial.walk, oriented.walk)
    vertical = quaternions.rotate(distal.quaternion, rates[1])[:, 2]
    return JointMotion(
        angle=AngleRecording(
            project_flexion(rotation, axis) + trial.standing_deg,
            distal.start_s,
            distal.rate_hz,
            distal.source,
        ),
        sagittal_rate_rad_s=rates[1] @ axis,
        vertical_rate_rad_s=vertical,
        warnings=(
            *calibration.warnings,
            *oriented.warnings,
            *(
                slow_distal_warning(segment_rates(voting, oriented.walk), trial.joint)
                if trial.walking
                else ()
            ),
            *lost,
        ),
        quality=AngleQuality(
            neutral_scatter_deg=calibration.neutral.scatter_deg,
            axis_spread_deg=calibration.axis.spread_deg,
            axis_difference_deg=calibration.axis_difference_deg,
            hinge_difference_deg=_hinge_difference(trial.walk, rates, axis),
            residual_deg=residual_angle(rotation, axis),
            heading_uncertainty_deg=oriented.heading_uncertainty_deg,
        ),
    )


def segment_rates(
    walk: SensorPair | OrientationPair, oriented: OrientationPair
) -> tuple[Array, Array]:
    """Return both segments' angular velocities in their own frames, rad/s, (n, 3) each.

    The gyroscopes where there are any, the orientations' central differences otherwise.
    """
    if isinstance(walk, SensorPair):
        return walk.proximal.gyroscope, walk.distal.gyroscope
    proximal, distal = oriented.proximal, oriented.distal
    return (
        quaternions.body_rate(proximal.quaternion, proximal.rate_hz),
        quaternions.body_rate(distal.quaternion, distal.rate_hz),
    )


def _hinge_axis(movement: OrientationPair) -> tuple[Array, float]:
    """Return the hinge axis that both segments' rates fit best, distal frame, and its certainty."""
    proximal, distal = (
        quaternions.body_rate(one.quaternion, one.rate_hz)
        for one in (movement.proximal, movement.distal)
    )
    axes = hinge_axes(proximal, distal)
    return axes.distal, certainty(proximal, distal, axes)


def _hinge_uncertain(ratio: float, apart_deg: float, from_walk: bool) -> tuple[str, ...]:
    """Return a grave warning where the movement hardly determines the hinge axis.

    An axis from the walk is told to be uncertain anyhow: there it must differ from the mean
    rate's as well.

    Raises
    ------
    AngleError
        If a functional movement does not determine it and it differs from the mean rate's.
    """
    far = apart_deg > AXES_DIFFER_DEG
    if ratio >= SURE_HINGE or (from_walk and not far):
        return ()
    refused = ratio < LEAST_HINGE and far and not from_walk
    found, least = told_apart(ratio, LEAST_HINGE if refused else SURE_HINGE, 2)
    apart, most = told_apart(apart_deg, AXES_DIFFER_DEG)
    text = (
        f"the flexion axis is {'not' if refused else 'hardly'} determined by "
        f'`axis_method = "hinge"`: an axis {AWAY_DEG:.0f}° away fits both gyroscopes nearly as '
        f"well (misfits {found} : 1, at least {least} : 1 is needed), and it lies {apart}° from "
        f"the mean rate's ({'above' if far else 'not above'} {most}°). So it is where both "
        "segments turn in one plane and in proportion, as in squats, and where the joint turns "
        'much about other axes. Set `axis_method = "mean-rate"` in [wearable], or give a '
        "functional movement in which the upper segment is held still while the joint bends."
    )
    if refused:
        raise AngleError(text)
    return (Notice(text, "hinge-axis-uncertain", "grave", 1.0 / ratio),)


def _hinge_difference(
    walk: SensorPair | OrientationPair, rates: tuple[Array, Array], axis: Array
) -> float:
    """Return the angle between `axis` and the hinge axis the two rates fit best, in degrees."""
    try:
        axes = hinge_of(walk) if isinstance(walk, SensorPair) else hinge_axes(*rates)
    except AngleError:
        return float("nan")
    return angle_between_axes(axes.distal, axis)
