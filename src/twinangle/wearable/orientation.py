"""Sensor orientation from gyroscope, accelerometer and magnetometer.

Quaternions are scalar first and turn a vector from the sensor's frame to the earth's: x east,
y north (magnetic), z up. Without a magnetometer the heading is arbitrary but steady.

A gap in gyroscope or accelerometer of up to `BRIDGED_S` is bridged by a cubic through the samples
about it. Over one of up to `CARRIED_S` the filter goes on by such a cubic, with as much more
uncertainty as cubics over gaps of that length miss in the same recording, but the rows within stay
NaN. A longer one gives NaN rows, and the filter starts again behind it; a stretch between two such
gaps that is shorter than `SHORTEST_S` is NaN too. A missing magnetometer reading is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.gaps import (
    CARRIED_S,
    bridge_sensor,
    bridging_variance,
    long_gaps,
    parts_between_gaps,
)
from twinangle.signals.recording import InertialRecording, Interval, OrientationRecording
from twinangle.wearable.kalman import KalmanParameters

if TYPE_CHECKING:
    from twinangle.wearable.kalman.estimate import Stretch

Array = NDArray[np.float64]
OrientationFilter = Callable[[InertialRecording], OrientationRecording]

SHORTEST_S = 1.0
"""Shortest stretch that is given an orientation, s."""


def kalman(
    sensor: InertialRecording, *, parameters: KalmanParameters | None = None
) -> OrientationRecording:
    """Estimate a sensor's orientation with a Kalman filter and smoother.

    Every orientation rests on the whole recording. Method: `docs/background/orientation.md`.

    Parameters
    ----------
    sensor : InertialRecording
        n samples. `gyroscope_sample` tells whether sample k is the rate at its instant or the mean
        over the interval that ends at it.
    parameters : KalmanParameters, optional
        Noise figures and time constants; the defaults fit consumer-grade sensors on the body.

    Returns
    -------
    OrientationRecording
        Quaternions (n, 4), sensor to earth (x east, y magnetic north, z up); NaN rows in gaps.

    Raises
    ------
    RecordingError
        If no stretch of `SHORTEST_S` is free of gaps, a value is infinite, the shapes differ, or
        the magnetometer reads zero.
    """
    from twinangle.wearable.kalman.estimate import smoothed  # the compiler is slow to import

    return _run(smoothed, sensor, parameters or KalmanParameters())


def kalman_forward(
    sensor: InertialRecording, *, parameters: KalmanParameters | None = None
) -> OrientationRecording:
    """Estimate a sensor's orientation with the Kalman filter in the order of time.

    No orientation rests on later samples, but for the start: the first half second when the sensor
    is at rest, else the first 5 s (`KalmanParameters.start_window_s`). Parameters, returned value
    and errors are those of `kalman`.

    Parameters
    ----------
    sensor : InertialRecording
        Raw signals.
    parameters : KalmanParameters, optional
        As of `kalman`.

    Returns
    -------
    OrientationRecording
    """
    from twinangle.wearable.kalman.estimate import forward  # the compiler is slow to import

    return _run(forward, sensor, parameters or KalmanParameters())


def vqf_offline(sensor: InertialRecording) -> OrientationRecording:
    """Estimate a sensor's orientation with the `vqf` library's offline filter.

    Laidig & Seel 2023, Inf Fusion 91:187, with the library's default settings. Gaps, returned value
    and errors are those of `kalman`.

    Parameters
    ----------
    sensor : InertialRecording
        Raw signals.

    Returns
    -------
    OrientationRecording
    """
    _check(sensor)
    six, nine = _offline(sensor)
    return six if sensor.magnetometer is None else nine


def levelled(sensor: InertialRecording) -> OrientationRecording:
    """Return :func:`vqf_offline`'s orientation of a sensor without its magnetometer.

    Parameters
    ----------
    sensor : InertialRecording
        Raw signals.

    Returns
    -------
    OrientationRecording
    """
    _check(sensor.without_magnetometer())
    try:
        _check(sensor)
    except RecordingError:
        return _offline(sensor.without_magnetometer())[0]
    return _offline(sensor)[0]


@lru_cache(maxsize=4)  # physical tests and procedures ask for the same two sensors
def _offline(sensor: InertialRecording) -> tuple[OrientationRecording, OrientationRecording]:
    """Return the library's offline orientations without and with the magnetometer.

    One run gives both, and what the magnetometer reads does not reach the first.
    """
    from vqf import offlineVQF

    both = np.full((2, sensor.n_samples, 4), np.nan)
    for part, rate, force, field in _library_stretches(sensor):
        found: dict[str, Any] = offlineVQF(rate, force, field, 1 / sensor.rate_hz)
        both[:, part] = found["quat6D"], found["quat6D" if field is None else "quat9D"]
    both[:, long_gaps(_missing(sensor), sensor.rate_hz)] = np.nan
    of = (sensor.start_s, sensor.rate_hz, sensor.source)
    return OrientationRecording(both[0], *of), OrientationRecording(both[1], *of)


def vqf_forward(sensor: InertialRecording) -> OrientationRecording:
    """Estimate a sensor's orientation with the `vqf` library's filter in the order of time.

    Laidig & Seel 2023, Inf Fusion 91:187, with the library's default settings. Gaps, returned value
    and errors are those of `kalman`.

    Parameters
    ----------
    sensor : InertialRecording
        Raw signals.

    Returns
    -------
    OrientationRecording
    """
    _check(sensor)
    from vqf import VQF

    quaternion = np.full((sensor.n_samples, 4), np.nan)
    for part, rate, force, field in _library_stretches(sensor):
        run = VQF(1 / sensor.rate_hz)
        rows = (rate, force) if field is None else (rate, force, field)
        quaternion[part] = run.updateBatch(*rows)["quat6D" if field is None else "quat9D"]
    quaternion[long_gaps(_missing(sensor), sensor.rate_hz)] = np.nan
    return OrientationRecording(quaternion, sensor.start_s, sensor.rate_hz, sensor.source)


def _run(
    estimate: Callable[[Stretch, Array], Array],
    sensor: InertialRecording,
    parameters: KalmanParameters,
) -> OrientationRecording:
    from twinangle.wearable.kalman.estimate import Stretch

    _check(sensor)
    quaternion = np.full((sensor.n_samples, 4), np.nan)
    levelled: list[float] = []
    missing = _missing(sensor)
    for part, gyroscope, accelerometer, magnetometer in _stretches(sensor):
        unsure = [
            bridging_variance(signal, missing[part], sensor.rate_hz)
            for signal in (gyroscope, accelerometer)
        ]
        stretch = Stretch(
            gyroscope,
            accelerometer,
            np.zeros((0, 3)) if magnetometer is None else magnetometer,
            sensor.rate_hz,
            trapezoid=sensor.gyroscope_sample == "instantaneous",
            parameters=parameters,
            unsure=np.stack(unsure, axis=1),
        )
        times = estimate(stretch, quaternion[part])
        levelled += list(sensor.start_s + part.start / sensor.rate_hz + times)
    quaternion[long_gaps(missing, sensor.rate_hz)] = np.nan
    return OrientationRecording(
        quaternion,
        sensor.start_s,
        sensor.rate_hz,
        sensor.source,
        _told(levelled, parameters),
        tuple(Interval(float(t) - parameters.velocity_window_s, float(t)) for t in levelled),
    )


def _told(levelled: list[float], parameters: KalmanParameters) -> tuple[str, ...]:
    """Return a warning where the vertical was lost, with the times at which it was found again."""
    if not levelled:
        return ()
    times = ", ".join(f"{time:.1f}" for time in levelled[:5]) + " s"
    if len(levelled) > 5:
        times += f" and {len(levelled) - 5} times more"
    text = (
        "the vertical contradicted the mean specific force by more than "
        f"{parameters.contradiction_deg:g}°; the orientation was levelled again at {times}. The "
        f"{parameters.velocity_window_s:g} s before each are wrong: leave them out (`mask`), and "
        "look there for a saturated gyroscope or lost samples."
    )
    return (Notice(text, "vertical-lost", "grave", parameters.contradiction_deg),)


def _library_stretches(
    sensor: InertialRecording,
) -> Iterator[tuple[slice, Array, Array, Array | None]]:
    """Yield each stretch's rates, forces and field as the library takes them."""
    for part, gyroscope, accelerometer, magnetometer in _stretches(sensor):
        rate = np.array(gyroscope, order="C")  # the library wants arrays it may write to
        if sensor.gyroscope_sample == "instantaneous":
            # the library integrates sample k over the interval that ends at it
            rate[1:] = 0.5 * (gyroscope[1:] + gyroscope[:-1])
        field = None if magnetometer is None else _carried(magnetometer)
        yield part, rate, np.array(accelerometer, order="C"), field


def _carried(magnetometer: Array) -> Array | None:
    """Hold the last reading over missing ones; None where there is no reading at all."""
    seen = np.isfinite(magnetometer).all(axis=1)
    if not seen.any():
        return None
    last = np.maximum.accumulate(np.where(seen, np.arange(seen.size), -1))
    return np.array(magnetometer[np.where(last < 0, np.argmax(seen), last)], order="C")


def _check(sensor: InertialRecording) -> None:
    n = sensor.n_samples
    named = {
        "gyroscope": sensor.gyroscope,
        "accelerometer": sensor.accelerometer,
        "magnetometer": sensor.magnetometer,
    }
    for name, values in named.items():
        if values is None:
            continue
        if values.shape != (n, 3):
            raise RecordingError(
                f"{sensor.source}: the {name} has shape {values.shape}, expected ({n}, 3)."
            )
        infinite = np.isinf(values).any(axis=1)
        if infinite.any():
            raise RecordingError(
                f"{sensor.source}: the {name} is infinite in {int(infinite.sum())} sample(s), the "
                f"first at {sensor.time_s[np.argmax(infinite)]:g} s. Mark missing samples as NaN."
            )
    if not sensor.rate_hz > 0:
        raise RecordingError(f"{sensor.source}: the rate must be above 0 Hz, got {sensor.rate_hz}.")
    if sensor.magnetometer is not None and np.nanmax(np.abs(sensor.magnetometer), initial=0) == 0:
        raise RecordingError(
            f"{sensor.source}: the magnetometer reads zero throughout or is missing throughout; "
            "leave it out to estimate without a magnetometer."
        )


def _missing(sensor: InertialRecording) -> NDArray[np.bool_]:
    """Return the samples that lack a component of gyroscope or accelerometer."""
    total = sensor.gyroscope.sum(axis=1) + sensor.accelerometer.sum(axis=1)  # NaN if any is
    return np.asarray(np.isnan(total))


def _stretches(
    sensor: InertialRecording,
) -> Iterator[tuple[slice, Array, Array, Array | None]]:
    """Yield the parts free of gaps longer than `CARRIED_S`, shorter ones bridged."""
    missing, bridged = _missing(sensor), bridge_sensor(sensor, CARRIED_S)
    shortest = max(int(np.ceil(SHORTEST_S * sensor.rate_hz)), 3)
    found = False
    for part, _ in parts_between_gaps(missing, sensor.rate_hz, CARRIED_S):
        if part.stop - part.start < shortest:
            continue
        found = True
        magnetometer = None if sensor.magnetometer is None else sensor.magnetometer[part]
        yield part, bridged.gyroscope[part], bridged.accelerometer[part], magnetometer
    if not found:
        raise RecordingError(
            f"{sensor.source}: no stretch of {SHORTEST_S:g} s has gyroscope and accelerometer "
            f"without a gap of more than {CARRIED_S:g} s; {int(missing.sum())} of "
            f"{missing.size} samples are missing."
        )
