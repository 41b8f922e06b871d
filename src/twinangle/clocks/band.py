"""A joint angle as a function of time: band-limited, evaluated anywhere, gaps left as gaps."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.signals.recording import AngleRecording, Array
from twinangle.signals.zero_phase import both_ways, butterworth

_CHUNK = 1 << 16  # evaluation times a spline is built for at once: bounds the memory
_FEWEST_FILTERED = 16  # samples, that the filter's ends may be extended
_MARGIN = 16  # samples either side of a chunk, so that its spline equals the whole one's


@dataclass(frozen=True, slots=True, eq=False)
class BandLimited:
    """Samples of a low-passed angle; `values` is (n,), NaN where the recording has a gap."""

    values: Array
    start_s: float
    rate_hz: float
    source: str
    # kept once found; not an argument, so that a changed copy finds its own
    _whole: list[_Knots] = field(default_factory=list, repr=False, init=False)

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return self.start_s + (self.values.size - 1) / self.rate_hz

    def between(self, start_s: float, end_s: float) -> BandLimited:
        """Return the samples of a span and a few either side, at least four."""
        low = int((start_s - self.start_s) * self.rate_hz) - _MARGIN
        high = int((end_s - self.start_s) * self.rate_hz) + _MARGIN
        low = int(np.clip(low, 0, max(self.values.size - 4, 0)))
        high = int(np.clip(high, low + 4, self.values.size))
        return BandLimited(
            self.values[low:high], self.start_s + low / self.rate_hz, self.rate_hz, self.source
        )

    def samples(self, start_s: float, end_s: float) -> Array:
        """Return the samples within a span as they are, (n,)."""
        low = max(int(np.ceil((start_s - self.start_s) * self.rate_hz)), 0)
        high = max(int((end_s - self.start_s) * self.rate_hz) + 1, low)
        return self.values[low:high]

    def at(self, time_s: Array) -> tuple[Array, Array]:
        """Return the angle and its rate of change at increasing times, NaN in gaps and outside.

        Parameters
        ----------
        time_s : array of float, shape (n,)
            Increasing times on the recording's own clock, seconds.

        Returns
        -------
        tuple of arrays, each shape (n,)
            Degrees, and degrees per second, from an interpolating cubic spline.
        """
        angle, rate = np.full(time_s.size, np.nan), np.full(time_s.size, np.nan)
        for first in range(0, time_s.size, _CHUNK):
            part = slice(first, first + _CHUNK)
            angle[part], rate[part] = self._chunk_at(time_s[part])
        return angle, rate

    def _chunk_at(self, time_s: Array) -> tuple[Array, Array]:
        position = (time_s - self.start_s) * self.rate_hz
        # A time that falls on the last sample but for rounding belongs to the recording.
        position = np.where(
            np.abs(position - np.rint(position)) < 1e-6, np.rint(position), position
        )
        missing = np.full(time_s.size, np.nan)
        low, high = 0, self.values.size
        if high > 2 * _CHUNK:
            low = max(int(position[0]) - _MARGIN, 0)
            high = min(int(np.ceil(position[-1])) + _MARGIN + 1, high)
        values = self.values[max(low, 0) : max(high, low, 0)]
        finite = np.isfinite(values)
        if finite.sum() < 4:
            return missing, missing.copy()
        knots = self._knots(low, high, values)
        inside = (position >= low) & (position <= high - 1)
        before = np.clip(np.floor(position).astype(np.int64) - low, 0, values.size - 1)
        after = np.clip(np.ceil(position).astype(np.int64) - low, 0, values.size - 1)
        known = inside & finite[before] & finite[after]
        piece = np.minimum(before, values.size - 2)
        angle, rate = knots.at(piece, position - (piece + low))
        return np.where(known, angle, np.nan), np.where(known, rate * self.rate_hz, np.nan)

    def _knots(self, low: int, high: int, values: Array) -> _Knots:
        whole = (low, high) == (0, self.values.size)
        if whole and self._whole:
            return self._whole[0]
        knots = _Knots.through(bridge_gaps(values))
        if whole:
            self._whole.append(knots)
        return knots


@dataclass(frozen=True, slots=True, eq=False)
class _Knots:
    """A cubic spline through values one sample apart, by its slopes there (n,).

    scipy's ``CubicSpline`` (not-a-knot) on whole numbers, the same to the last bit; what every
    piece's coefficients would cost is paid for those alone that are asked for.
    """

    values: Array
    slopes: Array

    @classmethod
    def through(cls, values: Array) -> _Knots:
        """Find the slopes that make the second derivative continuous; four values at least."""
        rise = np.diff(values)
        right = np.empty_like(values)
        right[1:-1] = 3 * (rise[:-1] + rise[1:])
        right[0] = (5 * rise[0] + rise[1]) / 2
        right[-1] = (rise[-2] + 5 * rise[-1]) / 2
        diagonal = np.full(values.size, 4.0)
        diagonal[[0, -1]] = 1.0
        upper, lower = np.ones(values.size - 1), np.ones(values.size - 1)
        upper[0] = lower[-1] = 2.0
        return cls(
            values,
            np.asarray(scipy.linalg.lapack.dgtsv(lower, diagonal, upper, right, 1, 1, 1, 1)[3]),
        )

    def at(self, piece: NDArray[np.int64], part: Array) -> tuple[Array, Array]:
        """Return value and slope (m,) in given pieces, so far from each one's beginning."""
        level, slope = self.values[piece], self.slopes[piece]
        rise = self.values[piece + 1] - level
        cubic = slope + self.slopes[piece + 1] - 2 * rise
        square = (rise - slope) - cubic
        angle = ((cubic * part + square) * part + slope) * part + level
        return angle, (3 * cubic * part + 2 * square) * part + slope


def bridge_gaps(values: Array) -> Array:
    """Return `values` with NaN replaced by straight lines, the ends held."""
    finite = np.isfinite(values)
    if finite.all():
        return values
    index, gaps = np.flatnonzero(finite), np.flatnonzero(~finite)
    bridged = values.copy()
    bridged[gaps] = np.interp(gaps, index, values[index])
    return bridged


def band_limit(
    recording: AngleRecording, cutoff_hz: float | None, *, slowest_hz: float | None = None
) -> BandLimited:
    """Low-pass an angle without delay, thin it out and mark its gaps.

    A fourth-order Butterworth filter runs forwards and backwards over the samples, gaps bridged by
    straight lines for the filter only: in the result a gap is a gap again.

    Parameters
    ----------
    recording : AngleRecording
        The angle; needs at least 16 finite samples.
    cutoff_hz : float or None
        Half-amplitude frequency of the two passes together is a little below it. None, or a
        frequency the sampling rate cannot hold, leaves the samples as they are.
    slowest_hz : float, optional
        Keep every q-th sample, the largest whole q that leaves at least this rate.
    """
    column = np.asarray(recording.angle_deg, dtype=np.float64)[:, None]
    of = (recording.start_s, recording.rate_hz, recording.source)
    return band_limit_columns(column, *of, cutoff_hz=cutoff_hz, slowest_hz=slowest_hz)[0]


@lru_cache(maxsize=2)  # the angle's lag and the gyroscopes' ask for the same of the reference
def thinned(recording: AngleRecording, cutoff_hz: float, slowest_hz: float) -> BandLimited:
    """Return :func:`band_limit`'s samples at no much higher rate than `slowest_hz`, kept."""
    return band_limit(recording, cutoff_hz, slowest_hz=slowest_hz)


def band_limit_columns(
    columns: Array,
    start_s: float,
    rate_hz: float,
    source: str,
    *,
    cutoff_hz: float | None,
    slowest_hz: float | None = None,
) -> list[BandLimited]:
    """Low-pass several signals of the same samples at once, each as :func:`band_limit` does.

    Parameters
    ----------
    columns : (n, k) array
        NaN is a gap.
    start_s, rate_hz, source
        Of all of them.
    cutoff_hz, slowest_hz
        As of :func:`band_limit`.
    """
    if cutoff_hz is not None and cutoff_hz < 0.45 * rate_hz:
        finite = np.isfinite(columns)
        enough = np.flatnonzero(finite.sum(axis=0) >= _FEWEST_FILTERED)
        if enough.size:
            bridged = np.column_stack([bridge_gaps(columns[:, k]) for k in enough])
            columns = columns.copy()
            columns[:, enough] = both_ways(butterworth(4, cutoff_hz, rate_hz), bridged)
            columns[~finite] = np.nan
    step = 1 if slowest_hz is None else max(int(rate_hz / slowest_hz), 1)
    return [
        BandLimited(np.ascontiguousarray(column[::step]), start_s, rate_hz / step, source)
        for column in columns.T
    ]


def grid_times(start_s: float, end_s: float, rate_hz: float) -> tuple[Array, int]:
    """Return the whole multiples of 1/rate within a span, and the number of the first one."""
    first = int(np.ceil(start_s * rate_hz - 1e-6))
    last = int(np.floor(end_s * rate_hz + 1e-6))
    index: NDArray[np.int64] = np.arange(first, last + 1)
    return index / rate_hz, first
