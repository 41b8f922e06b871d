"""The reference's angle from optical markers, as the study file asks for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.reference.joint_coordinate_system import joint_coordinate_angles
from twinangle.reference.low_pass import require_cutoff, zero_phase_low_pass
from twinangle.reference.markers import (
    Landmarks,
    SegmentMotion,
    fill_short_gaps,
    sagittal_angle,
    segment_motions,
)
from twinangle.signals.channel_checks import require_enough_samples, sampling_rate_hz
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array, Recording
from twinangle.thresholds import told_apart

if TYPE_CHECKING:
    from twinangle.study.reference_settings import MarkerReference, MarkerSegment

MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
LARGE_RESIDUAL_MM = 10.0  # of a cluster's markers from a rigid body; common practice, no source


def marker_angle(
    recording: Recording, settings: MarkerReference, *, joint: str, side: str
) -> tuple[Array, tuple[str, ...]]:
    """Return flexion from marker trajectories, and what is worth knowing of its quality.

    Parameters
    ----------
    recording : Recording
        Positions on a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : MarkerReference
        The section of the study file.
    joint : str
        Which joint, of `twinangle.signals.joint.JOINTS`: tells which way flexion turns.
    side : {"left", "right", ""}
        The limb; needed by the joint coordinate system.

    Returns
    -------
    angle_deg : ndarray, shape (n,)
        Flexion positive; NaN where it cannot be told.
    notes : tuple of str
        Residuals, frames solved from fewer markers, bridged and lost, each counted.

    Raises
    ------
    RecordingError
        A marker that is never seen, calibration frames outside the recording or without a
        landmark, markers in a line, an empty side.
    """
    require_enough_samples(recording)
    names = dict.fromkeys((*settings.proximal.names, *settings.distal.names))
    positions = {name: recording.columns(settings.marker_axes(name)) for name in names}
    for name, values in positions.items():
        if not np.isfinite(values).all(axis=1).any():
            raise RecordingError(f"{recording.source}: marker {name!r} is never seen.")
    if settings.method == "sagittal":
        angle, notes = _sagittal(recording, settings, positions)
        return -joint_named(joint).forwards * angle, notes
    angle, notes = _joint_coordinate_system(recording, settings, positions, side)
    return joint_named(joint).forwards * angle, notes


def _longest_gap(recording: Recording, settings: MarkerReference) -> int:
    return int(settings.max_gap_s * sampling_rate_hz(recording) + 1e-9)


def _sagittal(
    recording: Recording, settings: MarkerReference, positions: Mapping[str, Array]
) -> tuple[Array, tuple[str, ...]]:
    """Return thigh angle minus shank angle in the plane of the two axes."""
    longest = _longest_gap(recording, settings)
    filled = {name: fill_short_gaps(values, longest) for name, values in positions.items()}
    smooth = _filtered(recording, settings, {name: values for name, (values, _) in filled.items()})
    ends = {}
    for name, segment in (("proximal", settings.proximal), ("distal", settings.distal)):
        for end in ("upper", "lower"):
            ends[f"{name}_{end}"] = smooth[getattr(segment, end)]
    angle = sagittal_angle(**ends)
    bridged = np.any([was for _, was in filled.values()], axis=0)
    return angle, _gap_notes(recording, int(bridged.sum()), int(np.isnan(angle).sum()))


def _joint_coordinate_system(
    recording: Recording, settings: MarkerReference, positions: Mapping[str, Array], side: str
) -> tuple[Array, tuple[str, ...]]:
    """Return the turn of the distal segment about the proximal axis that points to the right."""
    if side not in ("left", "right"):
        raise RecordingError(
            f"{recording.source}: the joint coordinate system needs to know the limb; give "
            "'left' or 'right' in the trials table's column 'side'."
        )
    bridged, n_bridged = _bridge_lost_frames(recording, settings, positions)
    bridged = _filtered(recording, settings, bridged)
    try:
        motions = segment_motions(
            bridged,
            _landmarks(settings.proximal),
            _landmarks(settings.distal),
            calibration=_calibration(recording, settings),
            side=side,
        )
    except ValueError as error:
        raise RecordingError(
            f"{recording.source}: between `calibration_start_s` and `calibration_end_s`: {error}"
        ) from error
    proximal, distal = motions
    angles = joint_coordinate_angles(proximal.quaternion, distal.quaternion)
    notes = [
        *_segment_notes(recording, "proximal", proximal, settings),
        *_segment_notes(recording, "distal", distal, settings),
        *_gap_notes(recording, n_bridged, int(np.isnan(angles[:, 0]).sum())),
    ]
    return angles[:, 0], tuple(notes)


def _filtered(
    recording: Recording, settings: MarkerReference, positions: dict[str, Array]
) -> dict[str, Array]:
    """Low-pass every coordinate, where the study asks for it."""
    if settings.filter_hz is None:
        return positions
    rate_hz = sampling_rate_hz(recording)
    require_cutoff(settings.filter_hz, rate_hz, recording.source)
    return {
        name: np.column_stack(
            [
                zero_phase_low_pass(axis, rate_hz=rate_hz, cutoff_hz=settings.filter_hz)
                for axis in values.T
            ]
        )
        for name, values in positions.items()
    }


def _landmarks(segment: MarkerSegment) -> Landmarks:
    return Landmarks(
        markers=tuple(segment.markers or ()),
        lateral=str(segment.lateral),
        medial=str(segment.medial),
        upper=segment.upper,
    )


def _calibration(recording: Recording, settings: MarkerReference) -> NDArray[np.bool_]:
    start, end = settings.calibration_start_s, settings.calibration_end_s
    inside = (recording.time_s >= (start or 0.0)) & (recording.time_s <= (end or 0.0))
    if not inside.any():
        raise RecordingError(
            f"{recording.source}: holds no frame between {start} and {end} s, where "
            f"`calibration_start_s` and `calibration_end_s` are; it spans "
            f"{recording.time_s[0]:.6g} to {recording.time_s[-1]:.6g} s."
        )
    return inside


def _bridge_lost_frames(
    recording: Recording, settings: MarkerReference, positions: Mapping[str, Array]
) -> tuple[dict[str, Array], int]:
    """Bridge short gaps of markers, but only in frames that see too few markers for a pose.

    Where three or more of a cluster are seen the rigid body itself fills the gap.
    """
    longest = _longest_gap(recording, settings)
    bridged = dict(positions)
    touched = np.zeros(len(recording.time_s), dtype=bool)
    for segment in (settings.proximal, settings.distal):
        names = tuple(segment.markers or ())
        seen = np.sum([np.isfinite(positions[name]).all(axis=1) for name in names], axis=0)
        for name in names:
            filled, was_filled = fill_short_gaps(positions[name], longest)
            use = was_filled & (seen < 3)
            bridged[name] = np.where(use[:, np.newaxis], filled, positions[name])
            touched |= use
    return bridged, int(touched.sum())


def _segment_notes(
    recording: Recording, name: str, motion: SegmentMotion, settings: MarkerReference
) -> list[str]:
    residual = MILLIMETRES[settings.unit] * motion.residual[np.isfinite(motion.residual)]
    notes: list[str] = []
    if residual.size and np.median(residual) > LARGE_RESIDUAL_MM:
        middle, limit = told_apart(float(np.median(residual)), LARGE_RESIDUAL_MM)
        text = (
            f"{recording.source}: the {name} cluster fits a rigid body to {middle} mm only "
            "(median, "
            f"above {limit} mm; {residual.max():.1f} mm at worst); are all its markers on one "
            "segment, and is `unit` right?"
        )
        notes.append(Notice(text, "marker-residual", size=float(np.median(residual))))
    if motion.n_incomplete:
        text = (
            f"{recording.source}: {motion.n_incomplete} frame(s) of the {name} segment solved "
            "from fewer markers than the cluster has"
        )
        notes.append(Notice(text, "fewer-markers", "note"))
    return notes


def _gap_notes(recording: Recording, n_bridged: int, n_lost: int) -> tuple[str, ...]:
    total = len(recording.time_s)
    texts = (
        (n_bridged, "bridged by a spline"),
        (n_lost, "left as gaps, for want of markers"),
    )
    return tuple(
        Notice(f"{recording.source}: {n} of {total} frames {text}", "marker-gaps", "note")
        for n, text in texts
        if n
    )
