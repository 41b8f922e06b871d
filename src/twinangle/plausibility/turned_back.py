"""A vector that stands still in the earth, turned back by the gyroscope under every axis mapping.

Within a window the rates are integrated to the turn since its start. A vector that stands still in
the earth, gravity or the field, stands still again when it is turned back so; under a wrong mapping
of the axes it does not. Only the mapping of one instrument to the other can be told: both turned
alike look the same, and so does a vector negated as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Array
from twinangle.wearable import quaternions

WORK_HZ = 25.0  # means over 40 ms keep every turn of a limb that matters
SMOOTH_S = 2.0  # of the weighted means: a Hann window of two seconds leaves little of a stride
HOP_S = 1.0  # between windows, and between the means within one
MOST_WINDOWS = 240  # spread over the recording; more tell nothing new
TURNING_RAD_S = 0.3  # mean speed of a window that says something


def _signed_permutations() -> Array:
    found = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[range(3), order] = signs
            found.append(matrix)
    return np.array(found)


SIGNED = _signed_permutations()
"""All 48 signed permutations of three axes, (48, 3, 3), the identity first: row i of a mapping says
which channel, with which sign, is axis i."""


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """How much a vector scatters when it is turned back under each mapping of the gyroscope's axes.

    Parameters
    ----------
    variance : (m, 48) array
        Of the vector's weighted means, summed over axes, one row a window in which the sensor
        turns; columns as `SIGNED`: the gyroscope's channels taken as ``SIGNED[k] @ rate``.
    """

    variance: Array

    @property
    def n_windows(self) -> int:
        """Windows in which the sensor turns."""
        return int(self.variance.shape[0])

    def summed(self, floor: float) -> Array:
        """Return one scatter a mapping, (48,): the geometric mean over windows.

        Parameters
        ----------
        floor : float
            Added to each variance, so that windows in which nothing moves count little.
        """
        return np.asarray(np.exp(np.log(self.variance + floor).mean(axis=0)))


def scatter_by_mapping(rate: Array, vector: Array, rate_hz: float, window_s: float) -> Scatter:
    """Turn a vector back by the rates, window by window, under all 48 mappings of the rates.

    A mapping Q of the rates is a rotation, or minus one. Rates turned by a rotation Q against a
    vector that is not are as rates left alone against a vector turned by Qᵀ, seen in another
    frame. So two integrations, of the rates and of the reversed rates, and 24 rotations of the
    vector give all 48. Our own.

    Parameters
    ----------
    rate, vector : (n, 3) array
        rad/s, and any unit; a window with a gap is left out.
    rate_hz : float
        Of both.
    window_s : float
        Length of the windows, which start every second.
    """
    rates, vectors, work_hz = _windows(rate, vector, rate_hz, window_s)
    both_ways = _moments(np.concatenate([rates, -rates]), np.tile(vectors, (2, 1, 1)), work_hz)
    moments = np.split(both_ways, 2)
    variance = np.empty((rates.shape[0], len(SIGNED)))
    for k, mapping in enumerate(SIGNED):
        reverses = bool(np.linalg.det(mapping) < 0)
        back = -mapping.T if reverses else mapping.T
        seen = np.einsum("wbikl,kl->wbi", moments[int(reverses)], back)
        variance[:, k] = seen.var(axis=1).sum(axis=1)
    return Scatter(variance)


def scatter_by_scale(
    rate: Array, vector: Array, rate_hz: float, window_s: float, scales: Array
) -> Array:
    """Return the scatter (m, k) of the vector turned back by the rates times each of k scales."""
    rates, vectors, work_hz = _windows(rate, vector, rate_hz, window_s)
    scaled = np.concatenate([scale * rates for scale in scales])
    moments = _moments(scaled, np.tile(vectors, (scales.size, 1, 1)), work_hz)
    seen = np.einsum("wbikk->wbi", moments)
    return np.ascontiguousarray(seen.var(axis=1).sum(axis=1).reshape(scales.size, -1).T)


def _windows(
    rate: Array, vector: Array, rate_hz: float, window_s: float
) -> tuple[Array, Array, float]:
    """Return the windows in which the sensor turns, (m, k, 3) each, and their rate."""
    step = max(1, int(rate_hz / WORK_HZ))
    work_hz = rate_hz / step
    length = round(window_s * work_hz)
    whole = rate.shape[0] // step * step
    both = np.concatenate([rate[:whole], vector[:whole]], axis=1)
    both = both.reshape(-1, step, 6).mean(axis=1)
    if both.shape[0] < length:
        return np.empty((0, length, 3)), np.empty((0, length, 3)), work_hz
    every = np.lib.stride_tricks.sliding_window_view(both, length, axis=0)
    every = every[:: max(1, round(HOP_S * work_hz))]
    chosen = np.flatnonzero(_turning(every[:, :3]) & np.isfinite(every).all(axis=(1, 2)))
    if chosen.size > MOST_WINDOWS:
        chosen = chosen[np.linspace(0, chosen.size - 1, MOST_WINDOWS).round().astype(int)]
    windows = np.swapaxes(every[chosen], 1, 2)
    return windows[:, :, :3], windows[:, :, 3:], work_hz


def _turning(rates: Array) -> NDArray[np.bool_]:
    """Return whether each window (m, 3, k) holds enough turning; False with a gap."""
    return np.asarray(np.linalg.norm(rates, axis=1).mean(axis=1) > TURNING_RAD_S)


def _moments(rates: Array, vectors: Array, work_hz: float) -> Array:
    """Return the weighted means of R(t)ᵢₖ v(t)ₗ about every second of a window, (m, b, 3, 3, 3)."""
    turn = turns(rates, work_hz)
    length = round(SMOOTH_S * work_hz)
    weight = np.hanning(length + 2)[1:-1]
    weight = weight / weight.sum()
    n_means = max(2, round((rates.shape[1] / work_hz - SMOOTH_S) / HOP_S) + 2)
    starts = np.linspace(0, rates.shape[1] - length, n_means).round().astype(int)
    axes = np.stack([quaternions.rotate(turn, unit) for unit in np.eye(3)], axis=-1)
    return np.stack(
        [
            np.einsum(
                "t,wtik,wtl->wikl",
                weight,
                axes[:, first : first + length],
                vectors[:, first : first + length],
                optimize=True,
            )
            for first in starts
        ],
        axis=1,
    )


def turns(rates: Array, rate_hz: float) -> Array:
    """Return the orientation (m, k, 4) since the start of each window of rates (m, k, 3)."""
    middle = (rates[:, 1:] + rates[:, :-1]) / 2
    speed = np.linalg.norm(middle, axis=2, keepdims=True)
    half = speed / rate_hz / 2
    axis = middle / np.maximum(speed, 1e-12)
    steps = np.concatenate([np.cos(half), np.sin(half) * axis], axis=2)
    path = np.empty((*rates.shape[:2], 4))
    path[:, 0] = orientation = np.tile([1.0, 0.0, 0.0, 0.0], (rates.shape[0], 1))
    for k in range(steps.shape[1]):
        orientation = quaternions.multiply(orientation, steps[:, k])
        path[:, k + 1] = orientation
    return path
