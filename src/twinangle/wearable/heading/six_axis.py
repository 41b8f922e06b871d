"""Orient a trial without magnetometers: six-axis orientations, then the heading between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    Array,
    InertialRecording,
    Interval,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable import quaternions
from twinangle.wearable.flexion import functional_axis, relative_orientation, relative_rate
from twinangle.wearable.heading.hinge import axis_heading
from twinangle.wearable.heading.relative import SURE_COHERENCE, HeadingEstimate
from twinangle.wearable.heading.relative_tilt import level_together
from twinangle.wearable.procedure_input import (
    OrientedTrial,
    WearableTrial,
    require_static,
    slice_pair,
)

FindHeading = Callable[[SensorPair, OrientationPair], HeadingEstimate]
OrientationFilter = Callable[[InertialRecording], OrientationRecording]

_STANDING_ALONE = Notice(
    "neutral standing is a recording of its own without magnetometers: its heading was taken from "
    "the joint's axis. Standing within the walk's recording is surer.",
    "standing-in-its-own-file",
)


def orient_without_magnetometers(
    trial: WearableTrial, orientation_filter: OrientationFilter, find_heading: FindHeading
) -> OrientedTrial:
    """Orient a trial's sensors by gyroscope and accelerometer, with one heading for both.

    Standing still tells no heading. Where standing is a recording of its own, its heading is the
    one that lets both sensors see the joint's axis, known from the movement, in one direction. A
    functional movement of its own in which the joint centre hardly moves is left out, with a
    warning, and the axis comes from the walk.

    Raises
    ------
    AngleError
        If the walk's motion cannot tell the heading; see `find_heading`.
    """
    static = require_static(trial)

    def six_axis(pair: SensorPair) -> OrientationPair:
        return OrientationPair(
            orientation_filter(pair.proximal.without_magnetometer()),
            orientation_filter(pair.distal.without_magnetometer()),
        )

    assert isinstance(trial.walk, SensorPair)
    raw = six_axis(trial.walk)
    voting = trial.voting
    assert isinstance(voting, SensorPair)
    heading = find_heading(voting, raw)
    walk = _in_one_frame(trial.walk, raw, heading)
    functional, warnings = _functional(trial, walk, six_axis, find_heading)
    if isinstance(static, Interval):
        standing = slice_pair(walk, static, "static")
    elif isinstance(static, SensorPair):
        standing = _standing(six_axis(static), walk if functional is None else functional)
        warnings += (_STANDING_ALONE,)
    else:
        raise AngleError("the static recording must hold raw signals, as the walk does.")
    return OrientedTrial(
        walk,
        standing,
        functional,
        heading.standard_error_deg,
        (*raw.warnings, *heading.warnings, *warnings),
    )


def _in_one_frame(
    sensors: SensorPair, raw: OrientationPair, heading: HeadingEstimate
) -> OrientationPair:
    """Give both sensors one heading and, where the joint centre is sure, one vertical."""
    turned = heading.apply(raw)
    if not heading.coherence >= SURE_COHERENCE:  # NaN from the hinge
        return turned
    return level_together(sensors, turned, heading)


def _functional(
    trial: WearableTrial,
    walk: OrientationPair,
    six_axis: Callable[[SensorPair], OrientationPair],
    find_heading: FindHeading,
) -> tuple[OrientationPair | None, tuple[str, ...]]:
    part = trial.functional
    if part is None:
        return None, ()
    if isinstance(part, Interval):
        return slice_pair(walk, part, "functional"), ()
    if not isinstance(part, SensorPair):
        raise AngleError("the functional recording must hold raw signals, as the walk does.")
    raw = six_axis(part)
    try:
        return _in_one_frame(part, raw, find_heading(part, raw)), ()
    except AngleError as error:
        text = f"the functional recording was left out: {error}"
        return None, (Notice(text, "functional-movement-left-out"),)


@dataclass(frozen=True, slots=True, eq=False)
class _Axes:
    proximal: Array
    distal: Array


def _standing(raw: OrientationPair, movement: OrientationPair) -> OrientationPair:
    """Give standing the heading at which both sensors see the joint's axis in one direction."""
    axes = _axes_in_both(movement)
    turn, _ = axis_heading(raw, axes.proximal, axes.distal)
    about = quaternions.about_axis(np.array([0.0, 0.0, 1.0]), turn)
    distal = raw.distal
    return OrientationPair(
        raw.proximal,
        OrientationRecording(
            quaternions.multiply(about, distal.quaternion),
            distal.start_s,
            distal.rate_hz,
            distal.source,
        ),
    )


def _axes_in_both(movement: OrientationPair) -> _Axes:
    relative = relative_orientation(movement)
    rate = relative_rate(relative, movement.distal.rate_hz)
    distal = np.array(functional_axis(rate).axis)
    seen = quaternions.rotate(relative, rate)  # the same rate in the proximal sensor's frame
    side = np.sign(rate @ distal)[:, None]
    mean = np.nansum(seen * side, axis=0)
    return _Axes(mean / np.linalg.norm(mean), distal)
