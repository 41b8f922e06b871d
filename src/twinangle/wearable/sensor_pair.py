"""From a recording's channels to the pair of sensors either side of the joint.

Units are converted as declared and never guessed; what the numbers look like is used only to
refuse a declaration that cannot be right, and to say which one would be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.channel_checks import (
    QuaternionColumns,
    refuse_constant,
    require_enough_samples,
    sampling_rate_hz,
    unit_quaternions,
)
from twinangle.signals.gaps import bridge_quaternions
from twinangle.signals.recording import (
    Array,
    GyroscopeSample,
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    Recording,
    SensorPair,
)
from twinangle.wearable.signal_units import FACTORS, SPELLINGS
from twinangle.wearable.unit_checks import check_gravity, check_gyroscopes, zero_rows

if TYPE_CHECKING:
    from twinangle.study.wearable_settings import (
        InertialWearable,
        OrientationWearable,
        SensorColumns,
    )


def build_sensor_pair(
    recording: Recording, settings: InertialWearable, *, moving: bool = True
) -> SensorPair:
    """Return the two sensors of a uniform recording, in SI units (magnetometer µT).

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : InertialWearable
        Channel names, units and the gyroscope's convention (`study.wearable`).
    moving : bool
        Whether the joint moves in this recording. False for a file of neutral standing alone,
        where still gyroscopes and constant values are no fault.

    Returns
    -------
    SensorPair
        A sample that lacks one axis of an instrument lacks all three (NaN).

    Raises
    ------
    RecordingError
        A unit declared nowhere or twice differently; values that the declared unit makes
        impossible (median accelerometer norm below half or above twice 9.81 m/s², rates above
        100 rad/s or never above 40 °/s); a constant or empty channel; fewer than ten samples.
        The message names the file, the channel and the key of the study file.
    """
    require_enough_samples(recording)
    units = {
        instrument: _unit(recording, settings, instrument)
        for instrument in ("accelerometer", "gyroscope", "magnetometer")
    }
    pair = SensorPair(
        proximal=_sensor(recording, settings.proximal, units, settings.gyroscope_sample, moving),
        distal=_sensor(recording, settings.distal, units, settings.gyroscope_sample, moving),
    )
    check_gyroscopes(pair, recording.source, units["gyroscope"], moving=moving)
    return pair


def _unit(recording: Recording, settings: InertialWearable, instrument: str) -> str:
    """Return the unit that study file and recording agree on."""
    columns: list[str] = []
    for sensor in (settings.proximal, settings.distal):
        columns += getattr(sensor, instrument) or ()
    if not columns:
        return ""
    declared: str | None = getattr(settings.units, instrument)
    known = FACTORS[instrument]
    in_file = {
        SPELLINGS.get(unit, unit)
        for name, unit in zip(recording.channels, recording.units, strict=True)
        if name in columns and unit
    }
    found = in_file | ({declared} if declared else set())
    key = f"[wearable.units] {instrument}"
    accepted = " or ".join(repr(unit) for unit in known)
    if not found:
        raise RecordingError(
            f"{recording.source}: declares no unit for its {instrument}; give `{key}`, "
            f"one of {accepted}."
        )
    if len(found) > 1:
        raise RecordingError(
            f"{recording.source}: the {instrument} has the units {sorted(found)} in the file and "
            f"`{key}` together; they must agree."
        )
    unit = found.pop()
    if unit not in known:
        raise RecordingError(
            f"{recording.source}: the {instrument}'s unit is {unit!r}; accepted: {accepted}."
        )
    return unit


def _sensor(
    recording: Recording,
    columns: SensorColumns,
    units: Mapping[str, str],
    gyroscope_sample: GyroscopeSample,
    moving: bool,
) -> InertialRecording:
    """Convert one sensor's channels and check what can be checked of one sensor."""
    signals = {
        instrument: _converted(recording, names, FACTORS[instrument][units[instrument]], moving)
        for instrument in ("accelerometer", "gyroscope", "magnetometer")
        if (names := getattr(columns, instrument))
    }
    check_gravity(signals["accelerometer"], recording, columns, units["accelerometer"])
    empty = zero_rows(signals["accelerometer"])
    for values in signals.values():
        values[empty] = np.nan
    return InertialRecording(
        accelerometer=signals["accelerometer"],
        gyroscope=signals["gyroscope"],
        magnetometer=signals.get("magnetometer"),
        start_s=float(recording.time_s[0]),
        rate_hz=sampling_rate_hz(recording),
        source=recording.source,
        gyroscope_sample=gyroscope_sample,
    )


def _converted(recording: Recording, names: Sequence[str], factor: float, moving: bool) -> Array:
    """Return three channels in package units; a sample that lacks one lacks all."""
    values = recording.columns(list(names)) * factor
    for column, name in enumerate(names):
        refuse_constant(values[:, column], name, recording.source, constant_is_fault=moving)
    values[np.isnan(values).any(axis=1)] = np.nan
    return values


def build_orientation_pair(recording: Recording, settings: OrientationWearable) -> OrientationPair:
    """Return the orientations of the two segments of a uniform recording.

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : OrientationWearable
        Channel names, scalar first (`study.wearable`).

    Returns
    -------
    OrientationPair
        Unit quaternions, sensor to earth; a sample that lacks a component lacks all, and gaps of
        up to :data:`twinangle.signals.gaps.BRIDGED_S` are bridged, longer ones NaN.

    Raises
    ------
    RecordingError
        A quaternion whose length is more than 1 % off one (with its time and value), a quaternion
        that never changes, an empty channel, fewer than ten samples.
    """
    require_enough_samples(recording)
    return OrientationPair(
        proximal=_orientation(recording, settings.proximal),
        distal=_orientation(recording, settings.distal),
    )


def _orientation(recording: Recording, columns: QuaternionColumns) -> OrientationRecording:
    rate_hz = sampling_rate_hz(recording)
    return OrientationRecording(
        quaternion=bridge_quaternions(unit_quaternions(recording, columns.quaternion), rate_hz),
        start_s=float(recording.time_s[0]),
        rate_hz=rate_hz,
        source=recording.source,
    )
