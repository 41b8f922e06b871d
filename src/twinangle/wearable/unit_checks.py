"""Whether the signals of a sensor are in the unit that is stated: gravity, rates and field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.channel_checks import (
    sampling_rate_hz,
)
from twinangle.signals.recording import (
    Array,
    Recording,
    SensorPair,
)
from twinangle.thresholds import told_apart
from twinangle.wearable.signal_units import FACTORS, STANDARD_GRAVITY

if TYPE_CHECKING:
    from twinangle.study.wearable_settings import InertialWearable, SensorColumns

_MOST_ZERO = 0.2  # share of samples; own rule


EARTH_FIELD_UT = (22.0, 67.0)  # smallest and largest norm at the surface (from memory)


# The next three: common practice, no source. Brisk walking raises a shank's median norm to 11 to
# 13 m/s² and running further; a wrong unit is off by a factor of ten at least.
NORM_FACTOR = 2.0


NO_GRAVITY = 0.5  # mean over a second, of the median norm; under gravity it is near 1


FASTEST_RAD_S = 100.0  # 5730 °/s, beyond what a gyroscope for people measures


SLOWEST_PEAK_RAD_S = 0.7  # 40 °/s: a joint that moves in a trial turns faster


def sensor_warnings(pair: SensorPair, *, magnetometer_unit: str | None = "uT") -> tuple[str, ...]:
    """Return what is odd about a pair of sensors without being surely wrong.

    A median magnetic norm outside 22 to 67 µT, the range of the Earth's field at its surface,
    is a disturbed place, an uncalibrated sensor or a wrong unit.

    Parameters
    ----------
    pair : SensorPair
        Raw signals of both sensors.
    magnetometer_unit : str, optional
        "uT", or another unit, of which nothing is known; None without magnetometers.

    Returns
    -------
    tuple of str
        Empty where nothing is odd.
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


def zero_row_warnings(recording: Recording, settings: InertialWearable) -> tuple[str, ...]:
    """Tell of samples that a logger wrote as zeros, which :func:`build_sensor_pair` takes out."""
    found = []
    for name, sensor in (("proximal", settings.proximal), ("distal", settings.distal)):
        count = int(zero_rows(recording.columns(list(sensor.accelerometer))).sum())
        if count:
            text = (
                f"{recording.source}: {count} sample(s) are exactly 0 on all three axes of the "
                f"{name} accelerometer, which no accelerometer at rest or in movement reads: they "
                "are taken for lost packets written as zeros, and count as missing in all of this "
                "sensor's channels."
            )
            found.append(Notice(text, "zero-samples", size=count))
    return tuple(found)


def zero_rows(accelerometer: Array) -> NDArray[np.bool_]:
    """Return which samples are no reading; none where so many are that it is another fault."""
    zero = np.asarray((accelerometer == 0.0).all(axis=1))
    return zero if zero.mean() < _MOST_ZERO else np.zeros_like(zero)


def _median_norm(values: Array) -> float:
    """Return the median length of (n, 3) vectors, gaps left out."""
    norm = np.linalg.norm(values, axis=1)
    norm = norm[np.isfinite(norm)]
    return float(np.median(norm)) if norm.size else float("nan")


def check_gravity(
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
    hint = f"it looks like {looks!r}" if looks else "it looks like none of 'm/s^2', 'g' and 'mg'"
    if not looks and raw < STANDARD_GRAVITY / NORM_FACTOR:
        hint += (
            ", perhaps a linear acceleration, from which gravity was taken out: export the raw one"
        )
    raise RecordingError(
        f"{recording.source}: the accelerometer {', '.join(columns.accelerometer)} has a median "
        f"norm of {norm:.3g} m/s² when read in {unit!r}, where gravity is 9.81 m/s²; {hint}. "
        'Correct `[wearable.units] accelerometer` ("m/s^2", "g" or "mg"), or the file.'
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


def check_gyroscopes(pair: SensorPair, source: str, unit: str, *, moving: bool) -> None:
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
