"""Short gaps, bridged in one way everywhere; a longer gap stays one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from twinangle.signals.recording import Array, InertialRecording, SensorPair

BRIDGED_S = 0.05
"""Longest gap bridged, s: at a swinging shank's 20 rad/s² a cubic over it errs by under 0.1°."""

Flags = NDArray[np.bool_]


def bridge(values: Array, rate_hz: float) -> Array:
    """Fill gaps of up to `BRIDGED_S` from a cubic spline through the samples about them.

    Parameters
    ----------
    values : (n,) or (n, k) array
        Uniform samples; a row that lacks one value counts as missing whole.
    rate_hz : float
        Sampling rate.

    Returns
    -------
    array
        `values` itself where there is nothing to fill. Longer gaps, and those at either end, stay.
    """
    rows = values.reshape(values.shape[0], -1)
    missing: Flags = np.asarray(np.isnan(rows).any(axis=1))
    filled = None
    for part, gaps in parts_between_gaps(missing, rate_hz):
        if gaps:
            filled = np.array(values) if filled is None else filled
            filled[part] = _spline(values[part], ~missing[part])
    if filled is None:
        return values
    filled.setflags(write=False)
    return filled


def bridge_sensor(sensor: InertialRecording) -> InertialRecording:
    """Bridge short gaps of gyroscope and accelerometer; `sensor` itself where there are none.

    A sample that lacks one of the two lacks both. The magnetometer's gaps stay: the filters leave
    missing readings out.
    """
    both = np.concatenate([sensor.gyroscope, sensor.accelerometer], axis=1)
    filled = bridge(both, sensor.rate_hz)
    if filled is both:
        return sensor
    return replace(sensor, gyroscope=filled[:, :3], accelerometer=filled[:, 3:])


def bridge_pair(pair: SensorPair) -> SensorPair:
    """Bridge short gaps of both sensors; `pair` itself where there are none."""
    proximal, distal = bridge_sensor(pair.proximal), bridge_sensor(pair.distal)
    if proximal is pair.proximal and distal is pair.distal:
        return pair
    return SensorPair(proximal, distal)


def bridge_quaternions(quaternion: Array, rate_hz: float) -> Array:
    """Bridge short gaps of unit quaternions (n, 4); q and −q count as one orientation."""
    seen: Flags = np.asarray(np.isfinite(quaternion).all(axis=1))
    known = quaternion[seen]
    turned = np.where(np.sum(known[1:] * known[:-1], axis=1) < 0, -1.0, 1.0)
    sign = np.ones(quaternion.shape[0])
    sign[seen] = np.cumprod(np.append(1.0, turned))[: known.shape[0]]
    steady = quaternion * sign[:, None]
    filled = bridge(steady, rate_hz)
    if filled is steady:
        return quaternion
    unit = filled / np.linalg.norm(filled, axis=1, keepdims=True)
    return np.asarray(np.where(seen[:, None], quaternion, unit))


def short_gaps(missing: Flags, rate_hz: float) -> tuple[int, int]:
    """Count the missing samples that `bridge` fills, and the gaps they lie in."""
    inside = np.zeros(missing.size, dtype=bool)
    for part, _ in parts_between_gaps(missing, rate_hz):
        inside[part] = missing[part]
    begins = inside & ~np.concatenate(([False], inside[:-1]))
    return int(inside.sum()), int(begins.sum())


def parts_between_gaps(missing: Flags, rate_hz: float) -> Iterator[tuple[slice, bool]]:
    """Yield the parts between longer gaps, sample to sample, and whether they hold a short one."""
    seen = np.flatnonzero(~missing)
    if seen.size == 0:
        return
    breaks = np.flatnonzero(np.diff(seen) > round(BRIDGED_S * rate_hz) + 1)
    first = seen[np.append(0, breaks + 1)]
    last = seen[np.append(breaks, seen.size - 1)]
    for a, b in zip(first, last, strict=True):
        yield slice(int(a), int(b) + 1), bool(missing[a : b + 1].any())


def _spline(values: Array, seen: Flags) -> Array:
    """Fill the rows not `seen` from a cubic spline through the others."""
    index = np.flatnonzero(seen)
    filled = np.array(values)
    gaps = np.flatnonzero(~seen)
    near = np.unique(np.searchsorted(index, gaps)[:, None] + np.arange(-4, 4))
    near = near[(near >= 0) & (near < index.size)]
    filled[gaps] = CubicSpline(index[near], values[index[near]])(gaps)
    return filled
