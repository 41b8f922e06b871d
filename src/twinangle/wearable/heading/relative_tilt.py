"""The tilt of two sensors against each other, from the specific force that both feel.

A filter tells gravity from motion by averaging, so each sensor's vertical drifts with the person's
own accelerations. The joint centre's specific force is one and the same for both sensors, whatever
the person does: where the two differ for longer than a stride, a vertical is off.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import scipy

from twinangle.signals.recording import Array, OrientationPair, OrientationRecording, SensorPair
from twinangle.wearable import quaternions
from twinangle.wearable.heading.drift import seconds_of
from twinangle.wearable.heading.joint_centre import shared_terms
from twinangle.wearable.heading.relative import HeadingEstimate

WINDOW_S = 1.0  # SD of the Gaussian mean: a stride's own differences (skin, arms) average out
_OFFSET_M_S2 = 0.1  # difference of two consumer-grade accelerometers' offsets
_GRAVITY = 9.81  # m/s²
_CHUNK_S = 600.0


def level_together(
    sensors: SensorPair, oriented: OrientationPair, heading: HeadingEstimate
) -> OrientationPair:
    """Turn both sensors' verticals halfway to each other.

    With d the horizontal part of f₁ − f₂, the two sensors' specific forces at the joint centre,
    averaged with Gaussian weights of one second, each second by its inverse mean square (landings,
    in which skin and muscle shake the sensors, count little), the distal sensor is turned by half
    of (−d_north, d_east)/g about east and north, and the proximal one by the opposite half. A tilt
    of θ turns gravity's reaction g into the horizontal by g θ; what the person's own accelerations
    do to both cancels.

    Parameters
    ----------
    sensors : SensorPair
        Raw signals; magnetometers are not used.
    oriented : OrientationPair
        Of the same samples, in one earth frame: after :meth:`HeadingEstimate.apply`.
    heading : HeadingEstimate
        Its lever arms are used.

    Returns
    -------
    OrientationPair
        Where one sensor has no signal within some seconds, the orientation is left as it is. What
        remains is the difference of the accelerometers' offsets: 0.3° for 5 mg.
    """
    tilt = _relative_tilt(sensors, oriented, heading)
    return OrientationPair(
        _turned(oriented.proximal, -tilt / 2), _turned(oriented.distal, tilt / 2)
    )


def _relative_tilt(
    sensors: SensorPair, oriented: OrientationPair, heading: HeadingEstimate
) -> Array:
    """Return the turn about east and north, rad, (n, 2), that levels distal with proximal."""
    n, rate = sensors.proximal.n_samples, sensors.proximal.rate_hz
    sums = np.zeros((4, int(np.ceil(n / rate))))
    for second, force in _differences(sensors, oriented, heading):
        values = (*force.T, np.sum(force**2, axis=1), np.ones(second.size))
        for row, value in zip(sums, values, strict=True):
            np.add.at(row, second, value)
    square, count = scipy.ndimage.gaussian_filter1d(sums[2:], WINDOW_S, axis=1, mode="constant")
    known = count > 1.0
    weight = 1.0 / (square / np.maximum(count, 1.0) + _OFFSET_M_S2**2)
    east, north, total = scipy.ndimage.gaussian_filter1d(
        sums[[0, 1, 3]] * weight, WINDOW_S, axis=1, mode="constant"
    )
    sample = np.arange(n)
    middle = (np.arange(known.size) + 0.5) * rate
    parts = [
        np.interp(sample, middle, np.where(known, part / np.maximum(total, 1e-12), 0.0))
        for part in (-north, east)
    ]
    return np.stack(parts, axis=1) / _GRAVITY


def _differences(
    sensors: SensorPair, oriented: OrientationPair, heading: HeadingEstimate
) -> Iterator[tuple[np.ndarray[tuple[int], np.dtype[np.int64]], Array]]:
    """Yield, chunk by chunk, the second of each sample and f₁ − f₂ there, east and north."""
    n, rate = sensors.proximal.n_samples, sensors.proximal.rate_hz
    chunk = int(_CHUNK_S * rate)
    for start in range(0, n, chunk):
        first, second = shared_terms(
            (sensors.proximal, sensors.distal),
            (oriented.proximal, oriented.distal),
            slice(start, min(start + chunk, n)),
        )
        force = first.force(heading.proximal_arm_m) - second.force(heading.distal_arm_m)
        yield seconds_of(first.sample, rate), force[:, :2]


def _turned(orientation: OrientationRecording, tilt: Array) -> OrientationRecording:
    """Turn an orientation by small earth-frame turns about east and north, (n, 2)."""
    half = np.concatenate([tilt / 2, np.zeros((tilt.shape[0], 1))], axis=1)
    scalar = np.sqrt(np.maximum(1.0 - np.sum(half**2, axis=1, keepdims=True), 0.0))
    turn = np.concatenate([scalar, half], axis=1)
    turn /= np.linalg.norm(turn, axis=1, keepdims=True)
    return replace(orientation, quaternion=quaternions.multiply(turn, orientation.quaternion))
