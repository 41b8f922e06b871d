"""Lag and fit of the reference, by one combination of the gyroscopes, in windows along a trial."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from twinangle.plausibility.common_time import ACTIVE_DEG_S, CommonTime, Flags
from twinangle.signals.recording import Array, Synchronisation

Places = NDArray[np.int64]

MOST_DRIFT_PPM = 250.0  # between two clocks of quartz, common practice, no source
STRANGE = 0.5  # share of the slope's variance that a window explains where the two belong together
AT_HOME = 0.9
HOP_S = 2.0
_WINDOW_S = 8.0
_REACH_S = 0.8  # below a stride: farther off another stride fits
_BLOCK_S = 20.0
_ITERATIONS = 3
_SIDE_S = 20.0  # either side of a step


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Lag and fit of the reference in windows of 8 s, by one combination of the gyroscopes."""

    time_s: Array  # (m,) middles, wearable's clock
    lag_s: Array  # (m,) the reference, as the clock places it, is late by so much; NaN: unknown
    explained: Array  # (m,) share of the slope's variance
    weights: Array  # (7,)
    drift: float = 0.0  # a fraction, of the clock that placed the reference: taken out of a step

    def drifted_s(self, time_s: Array) -> Array:
        """Return what that drift adds to the lag at given times."""
        return np.asarray(self.drift * (time_s - self.time_s[0]))


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the lag: at what time, by how much."""

    time_s: float
    size_s: float


def lag_windows(found: CommonTime) -> Windows:
    """Return the lag and the fit of the reference in windows along the trial.

    The combination begins as the fit to the 20 s that agree best with themselves. A movement of
    one plane in which thigh and shank turn in proportion, such as squats, agrees with many, most of
    which do not hold for walking: where windows are left that hardly belong, the other stretches
    of 20 s are tried as well, and the combination stays to which most windows belong.
    """
    size, hop = int(_WINDOW_S * found.rate_hz), int(HOP_S * found.rate_hz)
    size = min(size, found.time_s.size)
    shifts = np.arange(-int(_REACH_S * found.rate_hz), int(_REACH_S * found.rate_hz) + 1)
    rows = np.column_stack([np.ones(found.time_s.size), found.proximal, found.distal])
    shifted = _Shifted.of(found, size, hop, shifts)
    first, *others = _beginnings(found, rows)
    best = _settled(found, rows, shifted, first)
    for weights in others:
        if at_home(best) == np.isfinite(best.explained).sum():
            break
        other = _settled(found, rows, shifted, weights)
        best = max(best, other, key=at_home)
    return best


def _settled(found: CommonTime, rows: Array, shifted: _Shifted, weights: Array) -> Windows:
    """Return the windows where combination and lags have been fitted in turn."""
    size, hop = shifted.known.shape[1], shifted.hop
    starts = np.arange(0, max(found.time_s.size - size, 0) + 1, hop)
    middle = starts + size // 2
    for _ in range(_ITERATIONS):
        lag, explained = shifted.lags(rows @ weights, shifted.shifts / found.rate_hz)
        sure = np.isfinite(lag) & (explained > STRANGE)
        if sure.sum() < 2:
            break
        index = np.arange(found.time_s.size)
        late = np.rint(np.interp(index, middle[sure], lag[sure]) * found.rate_hz)
        moved = np.clip(index + late.astype(np.int64), 0, index[-1])
        slope = found.slope[moved]
        kept = found.known & np.isfinite(slope)
        near = np.interp(index, middle, np.where(sure, 1.0, 0.0)) > 0.5
        weights = solved(rows, slope, kept & near)
    return Windows(found.time_s[0] + middle / found.rate_hz, lag, explained, weights)


def at_home(windows: Windows) -> int:
    """Return how many windows agree with the combination nearly wholly."""
    return int((windows.explained > AT_HOME).sum())


def _beginnings(found: CommonTime, rows: Array) -> list[Array]:
    """Return the combinations fitted to blocks, the one that agrees best with itself first."""
    size = min(int(_BLOCK_S * found.rate_hz), found.time_s.size)
    fits: list[tuple[float, Array]] = []
    for start in range(0, found.time_s.size - size + 1, size // 2):
        part = slice(start, start + size)
        kept = found.known[part]
        slope = found.slope[part][kept]
        if kept.sum() < size // 2 or slope.std() < ACTIVE_DEG_S:
            continue
        weights = solved(rows[part], found.slope[part], kept)
        explained = 1 - float(np.var(slope - rows[part][kept] @ weights) / np.var(slope))
        fits.append((explained, weights))
    ordered = [weights for _, weights in sorted(fits, key=lambda fit: -fit[0])]
    return ordered or [solved(rows, found.slope, found.known)]


def solved(rows: Array, slope: Array, kept: Flags) -> Array:
    """Return the least-squares combination of columns; what is not determined stays near 0."""
    product = rows[kept].T @ rows[kept]
    ridge = 1e-9 * np.trace(product) * np.eye(product.shape[0])
    return np.asarray(np.linalg.solve(product + ridge, rows[kept].T @ slope[kept]))


@dataclass(frozen=True, slots=True, eq=False)
class _Shifted:
    """The slope at every shift over every window, and its sums there where all is known.

    Arrays of windows are (m, size, shifts), views of one row of samples; sums are (m, shifts).
    """

    slope: Array  # 0 where it is not known
    told: Array  # 1 where it is known
    known: Array  # (m, size) 1 where the rate is known
    count: Array  # NaN where it is too small
    square: Array
    spread: Array
    shifts: Places
    hop: int  # between windows

    @classmethod
    def of(cls, found: CommonTime, size: int, hop: int, shifts: Places) -> _Shifted:
        """Return the slope of both instruments' windows, each read at every shift."""
        reach = int(shifts[-1])
        there = np.pad(np.isfinite(found.slope).astype(np.float64), reach)
        filled = np.pad(np.nan_to_num(found.slope), reach)
        known = _windows_of(found.known.astype(np.float64), size)[::hop]

        def spread_out(values: Array) -> Array:
            # the window from `start` read `shift` later begins at start + shift + reach here
            return _windows_of(_windows_of(values, size), shifts.size)[::hop]

        slope, told = spread_out(filled), spread_out(there)
        count, total, square = (
            np.einsum("mts,mt->ms", values, known)
            for values in (told, slope, spread_out(filled**2))
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            spread = square / count - (total / count) ** 2
        count = np.where(count < 0.6 * size, np.nan, count)
        return cls(slope, told, known, count, square, spread, shifts, hop)

    def lags(self, rate: Array, lags_s: Array) -> tuple[Array, Array]:
        """Return for each window the lag at which the slope is nearest the rate, and the fit."""
        level = _windows_of(np.nan_to_num(rate), self.known.shape[1])[:: self.hop] * self.known
        product = np.einsum("mts,mt->ms", self.slope, level)
        own = np.einsum("mts,mt->ms", self.told, level**2)
        error = (self.square - 2 * product + own) / self.count
        spread = np.where(np.isfinite(self.count), self.spread, np.nan)
        return _least(error.T, spread.T, lags_s)


def _windows_of(values: Array, size: int) -> Array:
    """Return every run of `size` along the first axis, the runs in a last dimension; a view."""
    return np.asarray(np.lib.stride_tricks.sliding_window_view(values, size, axis=0))


def _least(error: Array, spread: Array, lags: Array) -> tuple[Array, Array]:
    """Return the lag of least error by a parabola through its neighbours, and the fit there."""
    usable = np.isfinite(error).all(axis=0)
    place = np.argmin(np.where(usable, error, 0.0), axis=0)
    column = np.arange(place.size)
    inner = np.clip(place, 1, lags.size - 2)
    before, at, after = (error[inner + k, column] for k in (-1, 0, 1))
    # A window in which nothing moves has next to no spread, and is not active.
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        part = np.clip((before - after) / (2 * (before - 2 * at + after)), -1.0, 1.0)
        explained = 1 - error[place, column] / spread[place, column]
        active = usable & (np.sqrt(spread[place, column]) > ACTIVE_DEG_S)
    lag = lags[inner] + part * (lags[1] - lags[0])
    return np.where(active, lag, np.nan), np.where(active, explained, np.nan)


def without_drift(windows: Windows, clock: Synchronisation | None) -> Windows:
    """Return the windows with a drift that no clock has taken out of their steady lags.

    A search that meets lost samples draws a line through the two lags: the drift it finds takes up
    most of the step. A drift that was stated, or found by other means than likeness, stays.
    """
    if clock is None or not clock.method.startswith("cross-correlation"):
        return windows
    if abs(clock.drift_ppm) <= MOST_DRIFT_PPM:
        return windows
    return replace(windows, drift=1e-6 * clock.drift_ppm)


def largest_step(found: CommonTime, windows: Windows) -> Step | None:
    """Return the largest step of the lag; None where fewer than two windows tell it.

    The median lag of the windows that end before a time, less than 20 s, against that of those
    that begin after it; near enough that no clock's drift makes a step. The place is where two
    lags, one before and one after, leave the least residual.
    """
    sure = np.isfinite(windows.lag_s) & (windows.explained > AT_HOME**2)
    time = windows.time_s[sure]
    lag = windows.lag_s[sure] - windows.drifted_s(time)
    edges, sizes, sides = [], [], []
    for edge in time + _WINDOW_S / 2:
        before = lag[(time <= edge - _WINDOW_S / 2 + 1e-6) & (time >= edge - _SIDE_S)]
        after = lag[(time >= edge + _WINDOW_S / 2 - 1e-6) & (time <= edge + _SIDE_S)]
        if before.size and after.size:
            edges.append(float(edge))
            sides.append((float(np.median(before)), float(np.median(after))))
            sizes.append(sides[-1][1] - sides[-1][0])
    if not edges:
        return None
    best = int(np.argmax(np.abs(sizes)))
    place = _place(found, windows, edges[best], sides[best])
    return Step(place, sizes[best])


def _place(found: CommonTime, windows: Windows, edge_s: float, sides: tuple[float, float]) -> float:
    """Return when the residual at one lag gives way to that at the other."""
    near = np.flatnonzero(np.abs(found.time_s - edge_s) <= _SIDE_S)
    time = found.time_s[near]
    rows = np.column_stack([np.ones(near.size), found.proximal[near], found.distal[near]])
    rate = rows @ windows.weights
    cost = []
    for lag in sides:
        slope = np.interp(
            time + lag + windows.drifted_s(time), found.time_s, np.nan_to_num(found.slope)
        )
        cost.append(np.nan_to_num((slope - rate) ** 2))
    total = np.cumsum(cost[0]) + np.cumsum(cost[1][::-1])[::-1]
    return float(time[int(np.argmin(total))])
