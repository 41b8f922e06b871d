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

    def mean(self, floor: float) -> Array:
        """Return one scatter a mapping, (48,): the plain mean over windows, the floor added."""
        return np.asarray(self.variance.mean(axis=0) + floor)


def scatter_by_mapping(
    rate: Array, vector: Array, rate_hz: float, window_s: float, smooth_s: float = SMOOTH_S
) -> Scatter:
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
    smooth_s : float, optional
        Length of the Hann window of the weighted means.
    """
    chosen = _windows(rate, vector, rate_hz, window_s)
    both_ways = np.stack([chosen.rates, -chosen.rates])
    axes = quaternions.rotate(turns(both_ways, chosen.rate_hz)[:, :, None], np.eye(3))  # columns
    moments = np.swapaxes(axes, 2, 3)[..., None] * chosen.vectors[:, None, None]
    means = chosen.means(moments.reshape(2, -1, 27), smooth_s)
    variance = np.empty((chosen.starts.size, len(SIGNED)))
    reverses = np.linalg.det(SIGNED) < 0
    for way, these in enumerate((~reverses, reverses)):
        back = np.swapaxes(SIGNED[these], 1, 2).reshape(-1, 9) * (-1.0 if way else 1.0)
        seen = means[way].reshape(*means.shape[1:3], 3, 9) @ back.T
        variance[:, these] = seen.var(axis=1).sum(axis=1)
    return Scatter(variance)


def scatter_by_scale(
    rate: Array, vector: Array, rate_hz: float, window_s: float, scales: Array
) -> Array:
    """Return the scatter (m, k) of the vector turned back by the rates times each of k scales."""
    chosen = _windows(rate, vector, rate_hz, window_s)
    scaled = scales[:, None, None] * chosen.rates
    seen = chosen.means(quaternions.rotate(turns(scaled, chosen.rate_hz), chosen.vectors))
    return np.ascontiguousarray(seen.var(axis=2).sum(axis=2).T)


@dataclass(frozen=True, slots=True, eq=False)
class _Windows:
    """The samples of all windows in which the sensor turns, once each, in the order of time.

    Windows overlap, so one integration over all of them serves each: a turn common to a whole
    window does not change how its means scatter. Where two windows do not meet, the step between
    them is none of either.
    """

    rates: Array  # (n, 3)
    vectors: Array  # (n, 3)
    starts: NDArray[np.int64]  # (m,) where each window begins among those samples
    length: int
    rate_hz: float

    def means(self, values: Array, smooth_s: float = SMOOTH_S) -> Array:
        """Return the weighted means (k, m, b, c) of values (k, n, c) about every second."""
        size = round(smooth_s * self.rate_hz)
        weight = np.hanning(size + 2)[1:-1]
        n_means = max(2, round((self.length / self.rate_hz - smooth_s) / HOP_S) + 2)
        first = np.linspace(0, self.length - size, n_means).round().astype(int)
        where = (self.starts[:, None] + first)[..., None] + np.arange(size)
        return np.asarray((weight / weight.sum()) @ values[:, where])


def _windows(rate: Array, vector: Array, rate_hz: float, window_s: float) -> _Windows:
    """Return the windows in which the sensor turns."""
    step = max(1, int(rate_hz / WORK_HZ))
    work_hz = rate_hz / step
    length = round(window_s * work_hz)
    whole = rate.shape[0] // step * step
    both = np.concatenate([rate[:whole], vector[:whole]], axis=1)
    both = both.reshape(-1, step, 6).mean(axis=1)
    starts = np.arange(0, both.shape[0] - length + 1, max(1, round(HOP_S * work_hz)))
    starts = starts[_turning(both, starts, length)]
    if starts.size > MOST_WINDOWS:
        starts = starts[np.linspace(0, starts.size - 1, MOST_WINDOWS).round().astype(int)]
    needed = np.unique(starts[:, None] + np.arange(length))
    own = np.searchsorted(needed, starts)
    return _Windows(both[needed, :3], both[needed, 3:], own, length, work_hz)


def _turning(both: Array, starts: NDArray[np.int64], length: int) -> NDArray[np.bool_]:
    """Return whether each window holds enough turning; False with a gap."""
    speed = np.where(np.isfinite(both).all(axis=1), np.linalg.norm(both[:, :3], axis=1), np.nan)
    if not starts.size:
        return np.zeros(0, dtype=bool)
    every = np.lib.stride_tricks.sliding_window_view(speed, length)
    return np.asarray(every[starts].mean(axis=1) > TURNING_RAD_S)


def turns(rates: Array, rate_hz: float) -> Array:
    """Return the orientation (m, k, 4) since the first of each row of rates (m, k, 3).

    Turns over 1, 2, 4 … samples are joined, each to that which ends where it begins.
    """
    rows, count = rates.shape[:2]
    middle = (rates[:, 1:] + rates[:, :-1]) / 2
    speed = np.sqrt(np.einsum("ijk,ijk->ij", middle, middle))[..., None]
    half = speed / rate_hz / 2
    path = np.zeros((rows, count, 4))
    path[..., 0] = 1.0
    path[:, 1:, :1] = np.cos(half)
    path[:, 1:, 1:] = np.sin(half) / np.maximum(speed, 1e-12) * middle
    reach = 1
    while reach < count:
        path[:, reach:] = quaternions.multiply(path[:, :-reach], path[:, reach:])
        reach *= 2
    return path
