"""Short gaps, bridged in one way everywhere; a longer gap stays one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import scipy
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from twinangle.signals.recording import Array, InertialRecording, SensorPair

BRIDGED_S = 0.05
"""Longest gap bridged, s: at a swinging shank's 20 rad/s² a cubic over it errs by under 0.1°."""

CARRIED_S = 0.1
"""Longest gap over which an orientation filter goes on, s; its own samples stay missing."""
_SIDE = 4  # samples on either side that a cubic rests on
_ABOUT_S = 10.0  # before and behind a gap, where cubics over as long a gap are tried. Own rule

Flags = NDArray[np.bool_]


def bridge(values: Array, rate_hz: float, longest_s: float = BRIDGED_S) -> Array:
    """Fill gaps of up to `longest_s` from a cubic spline through the samples about them.

    Parameters
    ----------
    values : (n,) or (n, k) array
        Uniform samples; a row that lacks one value counts as missing whole.
    rate_hz : float
        Sampling rate.
    longest_s : float
        Longest gap that is filled.

    Returns
    -------
    array
        `values` itself where there is nothing to fill. Longer gaps, and those at either end, stay.
    """
    rows = values.reshape(values.shape[0], -1)
    missing: Flags = np.asarray(np.isnan(rows).any(axis=1))
    filled = None
    for part, gaps in parts_between_gaps(missing, rate_hz, longest_s):
        if gaps:
            filled = np.array(values) if filled is None else filled
            filled[part] = _spline(values[part], ~missing[part])
    if filled is None:
        return values
    filled.setflags(write=False)
    return filled


def bridge_sensor(sensor: InertialRecording, longest_s: float = BRIDGED_S) -> InertialRecording:
    """Bridge short gaps of gyroscope and accelerometer; `sensor` itself where there are none.

    A sample that lacks one of the two lacks both. The magnetometer's gaps stay: the filters leave
    missing readings out.
    """
    both = np.concatenate([sensor.gyroscope, sensor.accelerometer], axis=1)
    filled = bridge(both, sensor.rate_hz, longest_s)
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


def long_gaps(missing: Flags, rate_hz: float) -> Flags:
    """Return the missing samples of gaps longer than `BRIDGED_S`, and of those at either end."""
    inside = np.zeros(missing.size, dtype=bool)
    for part, _ in parts_between_gaps(missing, rate_hz):
        inside[part] = True
    return np.asarray(~inside)


def bridging_variance(values: Array, missing: Flags, rate_hz: float) -> Array:
    """Return the variance that gaps longer than `BRIDGED_S` bring to the integral of a signal.

    Parameters
    ----------
    values : (n, k) array
        With all gaps bridged; of a gyroscope the integral is an angle, of an accelerometer a
        velocity.
    missing : (n,) array of bool
        Samples that were missing.
    rate_hz : float
        Sampling rate.

    Returns
    -------
    (n,) array
        0 outside such gaps; within one the variance a component, spread evenly over its samples.

    Notes
    -----
    The mean square of what a cubic over as many samples, four on either side known, misses of the
    integral, tried at every place without a missing sample within 10 s of the gap. Our own.
    """
    found = np.zeros(values.shape[0])
    long = long_gaps(missing, rate_hz)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], long.astype(np.int8), [0]))))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        n, reach = int(end - first), round(_ABOUT_S * rate_hz)
        near = slice(max(int(first) - reach, 0), int(end) + reach)
        found[first:end] = _missed(values[near], missing[near], n) / rate_hz**2 / n
    return found


def _missed(values: Array, missing: Flags, n: int) -> float:
    """Return the mean square of what a cubic over n samples misses of their sum; 0 without any."""
    width = n + 2 * _SIDE
    if values.shape[0] < width:
        return 0.0
    known = np.concatenate([np.arange(_SIDE), np.arange(_SIDE + n, width)])
    weight = np.ones(width)
    gap = np.arange(_SIDE, _SIDE + n)
    weight[known] = -scipy.interpolate.CubicSpline(known, np.eye(2 * _SIDE))(gap).sum(axis=0)
    whole = ~sliding_window_view(missing, width).any(axis=1)
    errors = sliding_window_view(values, width, axis=0)[whole] @ weight
    return float(np.mean(errors**2)) if errors.size else 0.0


def parts_between_gaps(
    missing: Flags, rate_hz: float, longest_s: float = BRIDGED_S
) -> Iterator[tuple[slice, bool]]:
    """Yield the parts between longer gaps, sample to sample, and whether they hold a short one."""
    seen = np.flatnonzero(~missing)
    if seen.size == 0:
        return
    breaks = np.flatnonzero(np.diff(seen) > round(longest_s * rate_hz) + 1)
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
    filled[gaps] = scipy.interpolate.CubicSpline(index[near], values[index[near]])(gaps)
    return filled
