"""The reference's angle: a goniometer's column, or the orientations of the two segments."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.reference.joint_coordinate_system import joint_coordinate_angles
from twinangle.reference.low_pass import require_cutoff, zero_phase_low_pass
from twinangle.reference.optical import marker_angle
from twinangle.signals.channel_checks import (
    QuaternionColumns,
    refuse_constant,
    require_enough_samples,
    sampling_rate_hz,
    unit_quaternions,
)
from twinangle.signals.gaps import bridge
from twinangle.signals.recording import AngleRecording, Array, Interval, Recording
from twinangle.thresholds import told_apart

if TYPE_CHECKING:
    from twinangle.study.reference_settings import (
        AngleReference,
        MarkerReference,
        OrientationReference,
    )

# Common practice, no source.
LARGEST_ANGLE_DEG = 360.0
SMALLEST_MOVEMENT_DEG = 3.0  # between the 1st and 99th percentile; a moving knee or elbow has more


def reference_angle(
    recording: Recording,
    settings: AngleReference | OrientationReference | MarkerReference,
    *,
    joint: str = "knee",
    side: str = "",
) -> AngleRecording:
    """Return the reference's angle as the study file's `[reference]` section asks for it.

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : AngleReference, OrientationReference or MarkerReference
        The section (`study.reference`); its `kind` tells which of :func:`calibrated_angle`,
        :func:`segment_angle` and `twinangle.reference.optical.marker_angle` is meant.
    joint, side : str
        Used by the kind "markers" alone: which way flexion turns, and which limb it is.

    Returns
    -------
    AngleRecording
        Degrees, flexion positive, on the reference's own clock.

    Raises
    ------
    RecordingError
        As those functions do.
    ValueError
        If the kind is another one.
    """
    if settings.kind == "angle":
        return calibrated_angle(
            recording,
            column=settings.angle,
            unit=settings.unit,
            gain=settings.gain,
            offset=settings.offset,
            sign=settings.sign,
            filter_hz=settings.filter_hz,
            limits=settings.limits,
            second_plane=settings.second_plane,
            crosstalk=settings.crosstalk or 0.0,
        )
    if settings.kind == "orientation":
        return segment_angle(
            recording,
            proximal=settings.proximal,
            distal=settings.distal,
            flexion_axis=settings.flexion_axis,
            long_axis=settings.long_axis,
            offset=settings.offset,
            sign=settings.sign,
            filter_hz=settings.filter_hz,
        )
    if settings.kind == "markers":
        flexion, _ = marker_angle(recording, settings, joint=joint, side=side)
        angle_deg = settings.sign * (_unwrapped(flexion) + settings.offset)
        return _angle_recording(angle_deg, recording, None)  # the positions are filtered
    raise ValueError(f"`kind` must be 'angle', 'orientation' or 'markers', got {settings.kind!r}.")


def calibrated_angle(
    recording: Recording,
    *,
    column: str,
    unit: str = "deg",
    gain: float | None = None,
    offset: float = 0.0,
    sign: int = 1,
    filter_hz: float | None = None,
    limits: tuple[float, float] | None = None,
    second_plane: str | None = None,
    crosstalk: float = 0.0,
) -> AngleRecording:
    """Return the angle in one channel: ``sign * (gain * value + offset)`` degrees.

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    column : str
        The channel.
    unit : {"deg", "rad", "V"}
        What the channel holds. Radians are turned into degrees before the gain.
    gain : float, optional
        Degrees per unit (per degree where the unit is "deg" or "rad"); 1 if None.
    offset : float
        Degrees, in the file's own sign.
    sign : {1, -1}
        -1 where flexion is negative in the file.
    filter_hz : float, optional
        Cut-off of the zero-phase low-pass of :func:`zero_phase_low_pass`; no filter if None.
    limits : (float, float), optional
        The instrument's range, in the channel's own unit: a value at or beyond either end is
        saturated, and made a gap.
    second_plane : str, optional
        The channel of the other plane of a two-plane instrument.
    crosstalk : float
        Degrees of false flexion per unit of `second_plane`, subtracted before the sign is
        applied: one row of the instrument's crosstalk matrix (Sato et al. 2010, Sensors 10,
        9994, saw up to 18.8° uncompensated).

    Returns
    -------
    AngleRecording
        Degrees, flexion positive.

    Raises
    ------
    RecordingError
        An empty or constant channel, fewer than ten samples, values that the declared unit makes
        impossible, a cut-off that the sampling rate cannot carry.
    """
    require_enough_samples(recording)
    values = recording.columns([column])[:, 0]
    refuse_constant(values, column, recording.source)
    beyond = saturated(values, limits)
    values = np.where(beyond, np.nan, values)
    refuse_constant(values, column, recording.source, constant_is_fault=False)
    if unit == "rad":
        values = np.degrees(values)
    angle = (1.0 if gain is None else gain) * values + offset
    if second_plane is not None:
        angle = angle - crosstalk * recording.columns([second_plane])[:, 0]
    bridged = bridge(sign * angle, sampling_rate_hz(recording))
    angle = np.where(beyond, np.nan, bridged)  # no cubic knows the peak an instrument cut off
    _check_range(angle, column, unit, recording.source)
    return _angle_recording(angle, recording, filter_hz)


def segment_angle(
    recording: Recording,
    *,
    proximal: QuaternionColumns,
    distal: QuaternionColumns,
    flexion_axis: str = "z",
    long_axis: str = "y",
    offset: float = 0.0,
    sign: int = 1,
    filter_hz: float | None = None,
) -> AngleRecording:
    """Return the flexion angle between two segments' orientations.

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    proximal, distal : QuaternionColumns
        Channels of the two segments' quaternions (segment to laboratory), scalar first.
    flexion_axis, long_axis : {"x", "y", "z"}
        The segment frames' mediolateral axis, and the one along the segment.
    offset : float
        Degrees added before the sign is applied.
    sign : {1, -1}
        1 where flexion is a right-handed turn of the distal segment about the flexion axis.
    filter_hz : float, optional
        Cut-off of the zero-phase low-pass of :func:`zero_phase_low_pass`; no filter if None.

    Returns
    -------
    AngleRecording
        Degrees, flexion positive, continuous beyond 180°.

    Raises
    ------
    RecordingError
        Quaternions that are not of unit length or never change, fewer than ten samples.

    Notes
    -----
    See :func:`joint_coordinate_angles`; the flexion is its first angle.
    """
    require_enough_samples(recording)
    angles = joint_coordinate_angles(
        unit_quaternions(recording, proximal.quaternion),
        unit_quaternions(recording, distal.quaternion),
        flexion_axis=flexion_axis,
        long_axis=long_axis,
    )
    angle = bridge(sign * (_unwrapped(angles[:, 0]) + offset), sampling_rate_hz(recording))
    return _angle_recording(angle, recording, filter_hz)


def zero_at_standing(angle: AngleRecording, standing: Interval) -> tuple[AngleRecording, float]:
    """Subtract the mean angle in neutral standing.

    Parameters
    ----------
    angle : AngleRecording
    standing : Interval
        The stretch of neutral standing, on this recording's own clock.

    Returns
    -------
    angle : AngleRecording
        Zero on average over the stretch.
    removed_deg : float
        What was subtracted, for the report.

    Raises
    ------
    RecordingError
        If the recording holds nothing in that stretch.
    """
    time_s = angle.time_s
    inside = (time_s >= standing.start_s) & (time_s <= standing.end_s)
    values = angle.angle_deg[inside & np.isfinite(angle.angle_deg)]
    if not values.size:
        raise RecordingError(
            f"{angle.source}: holds no angle between {standing.start_s:.6g} and "
            f"{standing.end_s:.6g} s, where neutral standing is; it spans {angle.start_s:.6g} to "
            f"{angle.end_s:.6g} s."
        )
    removed = float(values.mean())
    return replace(angle, angle_deg=angle.angle_deg - removed), removed


def _unwrapped(degrees: Array) -> Array:
    """Return the angle without jumps of 360°, gaps kept."""
    present = np.isfinite(degrees)
    out = np.array(degrees)
    out[present] = np.unwrap(degrees[present], period=360)
    return out


def _angle_recording(angle: Array, recording: Recording, filter_hz: float | None) -> AngleRecording:
    rate_hz = sampling_rate_hz(recording)
    if filter_hz is not None:
        require_cutoff(filter_hz, rate_hz, recording.source)
        angle = zero_phase_low_pass(angle, rate_hz=rate_hz, cutoff_hz=filter_hz)
    return AngleRecording(
        angle_deg=angle,
        start_s=float(recording.time_s[0]),
        rate_hz=rate_hz,
        source=recording.source,
    )


def saturated(values: Array, limits: tuple[float, float] | None) -> NDArray[np.bool_]:
    """Return the samples at or beyond the instrument's limits."""
    if limits is None:
        return np.zeros(values.shape, dtype=bool)
    return np.asarray((values <= limits[0]) | (values >= limits[1]))


def _check_range(angle: Array, column: str, unit: str, source: str) -> None:
    """Refuse angles that no joint reaches, and movement as small as radians read as degrees."""
    largest = float(np.nanmax(np.abs(angle)))
    low, high = np.nanpercentile(angle, [1, 99])
    if largest > LARGEST_ANGLE_DEG:
        reached, most = told_apart(largest, LARGEST_ANGLE_DEG)
        hint = " It looks like 'deg'." if unit == "rad" else ""
        raise RecordingError(
            f"{source}, channel {column!r}: reaches {reached}° when read in {unit!r} with the "
            f"gain and offset given, beyond any joint ({most}°).{hint} Correct `unit`, `gain` or "
            "`offset`."
        )
    if unit == "deg" and high - low < SMALLEST_MOVEMENT_DEG:
        moved, least = told_apart(float(high - low), SMALLEST_MOVEMENT_DEG)
        raise RecordingError(
            f"{source}, channel {column!r}: moves by {moved}° only when read in degrees, less than "
            f"{least}°; "
            'it looks like radians (`unit = "rad"`) or the wrong channel.'
        )
