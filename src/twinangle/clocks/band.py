"""A joint angle as a function of time: band-limited, evaluated anywhere, gaps left as gaps."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.signals.recording import AngleRecording, Array

_CHUNK = 1 << 16  # evaluation times a spline is built for at once: bounds the memory
_MARGIN = 16  # samples either side of a chunk, so that its spline equals the whole one's


@dataclass(frozen=True, slots=True, eq=False)
class BandLimited:
    """Samples of a low-passed angle; `values` is (n,), NaN where the recording has a gap."""

    values: Array
    start_s: float
    rate_hz: float
    source: str
    # kept once built; not an argument, so that a changed copy builds its own
    _whole: list[scipy.interpolate.CubicSpline] = field(
        default_factory=list, repr=False, init=False
    )

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
        spline = self._spline(low, high, values)
        inside = (position >= low) & (position <= high - 1)
        before = np.clip(np.floor(position).astype(np.int64) - low, 0, values.size - 1)
        after = np.clip(np.ceil(position).astype(np.int64) - low, 0, values.size - 1)
        known = inside & finite[before] & finite[after]
        # Value and slope of one cubic a piece together: half the work of two spline calls.
        piece = np.minimum(before, values.size - 2)
        cubic, square, slope, level = spline.c[:, piece]
        part = position - (piece + low)
        angle = ((cubic * part + square) * part + slope) * part + level
        rate = (3 * cubic * part + 2 * square) * part + slope
        return np.where(known, angle, np.nan), np.where(known, rate * self.rate_hz, np.nan)

    def _spline(self, low: int, high: int, values: Array) -> scipy.interpolate.CubicSpline:
        whole = (low, high) == (0, self.values.size)
        if whole and self._whole:
            return self._whole[0]
        spline = scipy.interpolate.CubicSpline(np.arange(low, high), bridge_gaps(values))
        if whole:
            self._whole.append(spline)
        return spline


def bridge_gaps(values: Array) -> Array:
    """Return `values` with NaN replaced by straight lines, the ends held."""
    finite = np.isfinite(values)
    if finite.all():
        return values
    index, gaps = np.flatnonzero(finite), np.flatnonzero(~finite)
    bridged = values.copy()
    bridged[gaps] = np.interp(gaps, index, values[index])
    return bridged


@lru_cache(maxsize=64)
def _low_pass(cutoff_hz: float, rate_hz: float) -> Array:
    """Return the filter of fourth order as second-order sections; a search asks often."""
    return np.asarray(scipy.signal.butter(4, cutoff_hz, fs=rate_hz, output="sos"))


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
    values = np.asarray(recording.angle_deg, dtype=np.float64)
    finite = np.isfinite(values)
    if cutoff_hz is not None and cutoff_hz < 0.45 * recording.rate_hz and finite.sum() >= 16:
        sections = _low_pass(cutoff_hz, recording.rate_hz)
        values = np.where(finite, scipy.signal.sosfiltfilt(sections, bridge_gaps(values)), np.nan)
    step = 1 if slowest_hz is None else max(int(recording.rate_hz / slowest_hz), 1)
    return BandLimited(
        values=values[::step].copy() if step > 1 else values,
        start_s=recording.start_s,
        rate_hz=recording.rate_hz / step,
        source=recording.source,
    )


def grid_times(start_s: float, end_s: float, rate_hz: float) -> tuple[Array, int]:
    """Return the whole multiples of 1/rate within a span, and the number of the first one."""
    first = int(np.ceil(start_s * rate_hz - 1e-6))
    last = int(np.floor(end_s * rate_hz + 1e-6))
    index: NDArray[np.int64] = np.arange(first, last + 1)
    return index / rate_hz, first
