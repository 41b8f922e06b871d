"""A trace of hours for a page: least and largest value of each bucket, at eight scales.

Drawing every sample of hours is slow, and drawing every hundredth hides spikes. Here each bucket
of 4, 16, 64 … samples keeps its extremes, and the share of its samples that are missing, so that
neither a spike nor a gap of one sample is lost at any scale.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from twinangle.checks import require_positive
from twinangle.signals.recording import Array

Floats = NDArray[np.float32]
Number = TypeVar("Number", np.float32, np.int64)

FACTOR = 4  # samples of a bucket against those of the scale below
LEVELS = 8  # the samples themselves, and seven scales of buckets
BUCKETS = 2048  # in a tile


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The buckets of one scale: least and largest value, and the share of samples missing."""

    least: Floats
    largest: Floats
    gap: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Pyramid:
    """One trace at every scale; `digest` is the address of its content."""

    start_s: float
    rate_hz: float
    size: int
    digest: str
    scales: tuple[Scale, ...]

    def tile(self, level: int, index: int) -> bytes:
        """Return one tile: three runs of float32, little endian: least, largest, gap share.

        A bucket without any sample is NaN. The last tile is as long as it needs to be.

        Raises
        ------
        IndexError
            If there is no such scale or tile.
        """
        if not (0 <= level < len(self.scales) and index >= 0):
            raise IndexError(f"no tile {index} at scale {level}.")
        scale = self.scales[level]
        part = slice(index * BUCKETS, (index + 1) * BUCKETS)
        if not scale.least[part].size:
            raise IndexError(f"no tile {index} at scale {level}.")
        runs = (scale.least[part], scale.largest[part], scale.gap[part])
        return b"".join(run.astype("<f4").tobytes() for run in runs)

    @property
    def n_bytes(self) -> int:
        """Memory held."""
        return sum(one.least.nbytes + one.largest.nbytes + one.gap.nbytes for one in self.scales)


def build_pyramid(values: Array, *, start_s: float, rate_hz: float) -> Pyramid:
    """Return a trace at every scale.

    Parameters
    ----------
    values : ndarray, shape (n,)
        On a uniform clock; NaN is a gap.
    start_s : float
        Time of the first sample, seconds.
    rate_hz : float
        Samples a second.

    Raises
    ------
    ValueError
        If the rate is not above 0.
    """
    require_positive(rate_hz, "rate_hz")
    samples = np.ascontiguousarray(values, dtype=np.float32)
    named = hashlib.sha256(f"{start_s!r} {rate_hz!r} {samples.size} ".encode())
    named.update(samples.tobytes())
    missing = np.isnan(samples)
    scales = [Scale(samples, samples, missing.astype(np.float32))]
    lacking = missing.astype(np.int64)
    for level in range(1, LEVELS):
        below = scales[-1]
        lacking = _grouped(lacking, 0).sum(axis=1)
        counted = np.full(lacking.size, FACTOR**level, dtype=np.int64)
        if counted.size:  # the last bucket holds what is left
            counted[-1] = samples.size - (counted.size - 1) * FACTOR**level
        least = np.fmin.reduce(_grouped(below.least, np.nan), axis=1)
        largest = np.fmax.reduce(_grouped(below.largest, np.nan), axis=1)
        scales.append(Scale(least, largest, (lacking / counted).astype(np.float32)))
    return Pyramid(start_s, rate_hz, samples.size, named.hexdigest()[:32], tuple(scales))


def _grouped(values: NDArray[Number], filled: float) -> NDArray[Number]:
    """Return rows of `FACTOR` neighbours, the last row filled up."""
    short = -values.size % FACTOR
    if short:
        values = np.concatenate([values, np.full(short, filled, dtype=values.dtype)])
    return values.reshape(-1, FACTOR)
