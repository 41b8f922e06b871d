"""From a recording's channels to the pair of sensors either side of the joint.

Units are converted as declared and never guessed; what the numbers look like is used only to
refuse a declaration that cannot be right, and to say which one would be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.channels import (
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
from twinangle.thresholds import told_apart

STANDARD_GRAVITY = 9.80665  # m/s², by definition (3rd CGPM)
_MOST_ZERO = 0.2  # share of samples; own rule
EARTH_FIELD_UT = (22.0, 67.0)  # smallest and largest norm at the surface (from memory)
# The next three: common practice, no source. Brisk walking raises a shank's median norm to 11 to
# 13 m/s² and running further; a wrong unit is off by a factor of ten at least.
NORM_FACTOR = 2.0
NO_GRAVITY = 0.5  # mean over a second, of the median norm; under gravity it is near 1
FASTEST_RAD_S = 100.0  # 5730 °/s, beyond what a gyroscope for people measures
SLOWEST_PEAK_RAD_S = 0.7  # 40 °/s: a joint that moves in a trial turns faster

FACTORS: dict[str, dict[str, float]] = {
    "accelerometer": {"m/s^2": 1.0, "g": STANDARD_GRAVITY},
    "gyroscope": {"rad/s": 1.0, "deg/s": np.pi / 180},
    "magnetometer": {"uT": 1.0, "gauss": 100.0, "normalised": 1.0},
}
# Spellings of the same units that files declare in their own words.
SPELLINGS = {
    "m/s²": "m/s^2",
    "m/s2": "m/s^2",
    "m s-2": "m/s^2",
    "m*s^-2": "m/s^2",
    "°/s": "deg/s",
    "dps": "deg/s",
    "µT": "uT",
    "μT": "uT",
    "microtesla": "uT",
    "G": "gauss",
    "Gauss": "gauss",
}


class SensorColumns(Protocol):
    """The channel names of one sensor, three each; no magnetometer is None."""

    @property
    def accelerometer(self) -> Sequence[str]:
        """Channels of specific force, x, y, z."""

    @property
    def gyroscope(self) -> Sequence[str]:
        """Channels of angular rate, x, y, z."""

    @property
    def magnetometer(self) -> Sequence[str] | None:
        """Channels of the magnetic field, x, y, z."""


class SensorUnits(Protocol):
    """The declared units; None where the recording declares its own."""

    @property
    def accelerometer(self) -> str | None:
        """One of "m/s^2" and "g"."""

    @property
    def gyroscope(self) -> str | None:
        """One of "rad/s" and "deg/s"."""

    @property
    def magnetometer(self) -> str | None:
        """One of "uT", "gauss" and "normalised"."""


class InertialSettings(Protocol):
    """What `[wearable]` of kind "inertial" says; `twinangle.study.InertialWearable` is one."""

    @property
    def proximal(self) -> SensorColumns:
        """Channels of the sensor on the segment nearer the trunk."""

    @property
    def distal(self) -> SensorColumns:
        """Channels of the sensor on the other segment."""

    @property
    def units(self) -> SensorUnits:
        """Units of both sensors' channels."""

    @property
    def gyroscope_sample(self) -> GyroscopeSample:
        """What the device's rate at a sample stands for."""


class OrientationSettings(Protocol):
    """What a section of kind "orientation" says of its two segments."""

    @property
    def proximal(self) -> QuaternionColumns:
        """Channels of the segment nearer the trunk."""

    @property
    def distal(self) -> QuaternionColumns:
        """Channels of the other segment."""


def build_sensor_pair(
    recording: Recording, settings: InertialSettings, *, moving: bool = True
) -> SensorPair:
    """Return the two sensors of a uniform recording, in SI units (magnetometer µT).

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : InertialSettings
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
    _check_gyroscopes(pair, recording.source, units["gyroscope"], moving=moving)
    return pair


def sensor_warnings(pair: SensorPair, *, magnetometer_unit: str | None = "uT") -> tuple[str, ...]:
    """Return what is odd about a pair of sensors without being surely wrong.

    A median magnetic norm outside 22 to 67 µT, the range of the Earth's field at its surface,
    is a disturbed place, an uncalibrated sensor or a wrong unit.
    """
    if magnetometer_unit == "normalised":
        return ()
    found = []
    low, high = EARTH_FIELD_UT
    for name, sensor in (("proximal", pair.proximal), ("distal", pair.distal)):
        if sensor.magnetometer is None:
            continue
        norm = _median_norm(sensor.magnetometer)
        if not low <= norm <= high:
            shown, _ = told_apart(norm, low if norm < low else high, 0)
            text = (
                f"{sensor.source}: the {name} magnetometer's median norm is {shown} µT, outside "
                f"the Earth's {low:g} to {high:g} µT.{_field_guess(norm)}"
            )
            found.append(
                Notice(text, "field-strength", size=max(norm / high, low / max(norm, 1e-9)))
            )
    return tuple(found)


def _field_guess(norm: float) -> str:
    low, high = EARTH_FIELD_UT
    if low <= 100 * norm <= high:
        return ' It looks like gauss: [wearable.units] magnetometer = "gauss".'
    if 0.7 <= norm <= 1.4:
        return ' It looks normalised: [wearable.units] magnetometer = "normalised".'
    return ""


def _unit(recording: Recording, settings: InertialSettings, instrument: str) -> str:
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
    _check_gravity(signals["accelerometer"], recording, columns, units["accelerometer"])
    empty = _zero_rows(signals["accelerometer"])
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


def zero_row_warnings(recording: Recording, settings: InertialSettings) -> tuple[str, ...]:
    """Tell of samples that a logger wrote as zeros, which :func:`build_sensor_pair` takes out."""
    found = []
    for name, sensor in (("proximal", settings.proximal), ("distal", settings.distal)):
        count = int(_zero_rows(recording.columns(list(sensor.accelerometer))).sum())
        if count:
            text = (
                f"{recording.source}: {count} sample(s) are exactly 0 on all three axes of the "
                f"{name} accelerometer, which no accelerometer at rest or in movement reads: they "
                "are taken for lost packets written as zeros, and count as missing in all of this "
                "sensor's channels."
            )
            found.append(Notice(text, "zero-samples", size=count))
    return tuple(found)


def _zero_rows(accelerometer: Array) -> NDArray[np.bool_]:
    """Return which samples are no reading; none where so many are that it is another fault."""
    zero = np.asarray((accelerometer == 0.0).all(axis=1))
    return zero if zero.mean() < _MOST_ZERO else np.zeros_like(zero)


def _median_norm(values: Array) -> float:
    """Return the median length of (n, 3) vectors, gaps left out."""
    norm = np.linalg.norm(values, axis=1)
    norm = norm[np.isfinite(norm)]
    return float(np.median(norm)) if norm.size else float("nan")


def _check_gravity(
    accelerometer: Array, recording: Recording, columns: SensorColumns, unit: str
) -> None:
    """Refuse a unit under which gravity is not 9.81 m/s²."""
    norm = _median_norm(accelerometer)
    if 1 / NORM_FACTOR <= norm / STANDARD_GRAVITY <= NORM_FACTOR:
        return
    if _without_gravity(accelerometer, sampling_rate_hz(recording)):
        raise RecordingError(
            f"{recording.source}: the accelerometer {', '.join(columns.accelerometer)} holds no "
            f"gravity: its median norm is {norm:.3g} m/s² when read in {unit!r}, and its means "
            "over a second are smaller still, where a sensor's raw signal means 9.81 m/s². It is a "
            "linear acceleration, from which gravity was taken out; export the raw one."
        )
    raw = norm / FACTORS["accelerometer"][unit]
    looks = next(
        (
            name
            for name, gravity in (("m/s^2", STANDARD_GRAVITY), ("g", 1.0), ("mg", 1000.0))
            if abs(raw / gravity - 1) <= 0.25
        ),
        None,
    )
    hint = f"it looks like {looks!r}" if looks else "it looks like neither 'm/s^2' nor 'g'"
    if not looks and raw < STANDARD_GRAVITY / NORM_FACTOR:
        hint += (
            ", perhaps a linear acceleration, from which gravity was taken out: export the raw one"
        )
    raise RecordingError(
        f"{recording.source}: the accelerometer {', '.join(columns.accelerometer)} has a median "
        f"norm of {norm:.3g} m/s² when read in {unit!r}, where gravity is 9.81 m/s²; {hint}. "
        'Correct `[wearable.units] accelerometer` ("m/s^2" or "g"), or the file.'
    )


def _without_gravity(accelerometer: Array, rate_hz: float) -> bool:
    """Return whether the means over a second are far below the norm, as without gravity.

    Under gravity the mean of a second of walking keeps its length, as a limb's own acceleration
    averages to its change of speed. (Common practice, no source.)
    """
    size = max(1, round(rate_hz))
    whole = accelerometer[: accelerometer.shape[0] // size * size].reshape(-1, size, 3)
    means = whole[np.isfinite(whole).all(axis=(1, 2))].mean(axis=1)
    if not means.size:
        return False
    middle = float(np.median(np.linalg.norm(means, axis=1)))
    return middle < NO_GRAVITY * _median_norm(accelerometer)


def _check_gyroscopes(pair: SensorPair, source: str, unit: str, *, moving: bool) -> None:
    """Refuse rates that no person reaches, and rates that no moving joint stays under."""
    norms = [np.linalg.norm(sensor.gyroscope, axis=1) for sensor in (pair.proximal, pair.distal)]
    peak = float(np.nanmax(np.concatenate(norms)))
    reached, fastest = told_apart(peak, FASTEST_RAD_S)
    if unit == "rad/s" and peak > FASTEST_RAD_S:
        raise RecordingError(
            f"{source}: the gyroscopes reach {reached} rad/s, faster than people move "
            f"({fastest} rad/s); they look like 'deg/s'. Correct `[wearable.units] "
            "gyroscope`, or the file."
        )
    if peak > FASTEST_RAD_S:
        raise RecordingError(
            f"{source}: the gyroscopes reach {reached} rad/s ({np.degrees(peak):.0f} deg/s), "
            f"faster than people move ({fastest} rad/s); check the file's values."
        )
    if moving and unit == "deg/s" and peak < SLOWEST_PEAK_RAD_S:
        slow, least = told_apart(np.degrees(peak), float(np.degrees(SLOWEST_PEAK_RAD_S)))
        raise RecordingError(
            f"{source}: the gyroscopes never exceed {slow} deg/s, slower than a "
            f"joint in movement ({least} deg/s); they look like 'rad/s'. Correct "
            "`[wearable.units] gyroscope`, or "
            "the file."
        )


def build_orientation_pair(recording: Recording, settings: OrientationSettings) -> OrientationPair:
    """Return the orientations of the two segments of a uniform recording.

    Parameters
    ----------
    recording : Recording
        On a uniform clock, as `twinangle.signals.timing.regularise` returns it.
    settings : OrientationSettings
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
