"""What is drawn of long traces and of many curves: small paths, extremes kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Array, CycleSet, PairedAngles

Rows = NDArray[np.intp]
Mask = NDArray[np.bool_]


def envelope(time_s: Array, values: Array, bins: int = 1200) -> tuple[Array, Array]:
    """Thin a long trace for drawing: smallest and largest value of each bin, in order of time.

    Parameters
    ----------
    time_s, values : ndarray of float, shape (n,)
        The trace; NaN is a gap and stays one.
    bins : int
        Bins over the whole trace; at most two points each are returned.

    Returns
    -------
    tuple of ndarray
        Times and values, each of at most 2 · `bins` points; the trace itself when it is shorter.
    """
    n = values.size
    if n <= 2 * bins:
        return time_s, values
    edges = np.linspace(0, n, bins + 1).astype(int)
    low = np.fmin.reduceat(values, edges[:-1])  # fmin and fmax pass over NaN
    high = np.fmax.reduceat(values, edges[:-1])
    starts, ends = time_s[edges[:-1]], time_s[edges[1:] - 1]
    times = np.column_stack([starts + (ends - starts) / 4, ends - (ends - starts) / 4]).ravel()
    return times, np.column_stack([low, high]).ravel()


def joined(curves: Array) -> tuple[Array, Array]:
    """Return many curves (m, p) as one broken line over 0 to 100 %: a single, small path."""
    m, p = curves.shape
    percent = np.append(np.linspace(0, 100, p), np.nan)
    padded = np.column_stack([curves, np.full(m, np.nan)])
    return np.tile(percent, m), padded.ravel()


def side_by_side(curves: Sequence[Array], starts: Array) -> tuple[Array, Array]:
    """Return curves over 0 to 100 %, each from its own start on, as one broken line."""
    x = [
        np.append(start + np.linspace(0, 100, curve.size), np.nan)
        for start, curve in zip(starts, curves, strict=True)
    ]
    return np.concatenate(x), np.concatenate([np.append(curve, np.nan) for curve in curves])


def thinned(rows: Rows, limit: int) -> Rows:
    """Return at most `limit` row numbers, evenly spread over `rows`."""
    if rows.size <= limit:
        return rows
    chosen = np.unique(np.linspace(0, rows.size - 1, limit).round().astype(np.intp))
    return np.asarray(rows[chosen])


@dataclass(frozen=True, slots=True)
class Thinned:
    """One recording's traces for a page on which they are zoomed: tenths of a degree, None a gap.

    Points are `step_s` apart from `first_s` on. After both points of a bin that `breaks` names
    (from 0) stands a further one, `step_s` / 2 later, where the line of a trace ends or goes on.
    """

    first_s: float
    step_s: float
    breaks: tuple[int, ...]
    wearable: tuple[int | None, ...]
    reference: tuple[int | None, ...] | None
    bin_s: float  # length of a bin; 0 where every sample is a point
    duration_s: float
    wearable_range: tuple[float, float] | None  # of every sample, degrees; None without any
    reference_range: tuple[float, float] | None
    wearable_missing_s: float
    reference_missing_s: float


def thinned_pair(paired: PairedAngles, points: int) -> Thinned:
    """Thin both traces to about `points` points each, no peak lost and no gap bridged.

    Each bin gives its smallest and largest value in the order in which they come. A bin without a
    value stays empty; one that holds a gap as well as values ends the line.
    """
    n, rate = paired.wearable_deg.size, paired.rate_hz
    size = 1 if n <= points else -(-2 * n // points)
    traces = [each for each in (paired.wearable_deg, paired.reference_deg) if each is not None]
    binned = [_in_bins(each, size) for each in traces]
    broken = np.zeros(binned[0].shape[0], dtype=bool)
    if size > 1:
        for bins in binned:
            missing = np.isnan(bins)
            broken |= missing.any(axis=1) & ~missing.all(axis=1)
    shown = [_tenths(_ordered_extremes(bins, broken)) for bins in binned]
    ranges = [_range(each) for each in traces]
    missing_s = [float(np.isnan(each).sum()) / rate for each in traces]
    with_reference = len(traces) > 1
    return Thinned(
        first_s=paired.start_s + (size / (4 * rate) if size > 1 else 0.0),
        step_s=(size / 2 if size > 1 else 1.0) / rate,
        breaks=tuple(int(k) for k in np.flatnonzero(broken)),
        wearable=shown[0],
        reference=shown[1] if with_reference else None,
        bin_s=size / rate if size > 1 else 0.0,
        duration_s=n / rate,
        wearable_range=ranges[0],
        reference_range=ranges[1] if with_reference else None,
        wearable_missing_s=missing_s[0],
        reference_missing_s=missing_s[1] if with_reference else 0.0,
    )


def _in_bins(values: Array, size: int) -> Array:
    """Return values a bin a row; the last bin is filled up with its last value."""
    rest = -values.size % size
    return np.append(values, np.repeat(values[-1:], rest)).reshape(-1, size)


def _ordered_extremes(bins: Array, broken: Mask) -> Array:
    """Return both extremes of each bin in order of time, and what ends a broken one."""
    if bins.shape[1] == 1:
        return bins[:, 0]
    missing = np.isnan(bins)
    low = np.where(missing, np.inf, bins).argmin(axis=1)
    high = np.where(missing, -np.inf, bins).argmax(axis=1)
    rows = np.arange(bins.shape[0])
    ends = np.where(missing.any(axis=1), np.nan, bins[:, -1])
    two = np.column_stack([bins[rows, np.minimum(low, high)], bins[rows, np.maximum(low, high)]])
    wanted = np.column_stack([np.ones((rows.size, 2), dtype=bool), broken])
    shown: Array = np.column_stack([two, ends])[wanted]
    return shown


def _tenths(values: Array) -> tuple[int | None, ...]:
    scaled = np.rint(10 * values)
    return tuple(None if np.isnan(each) else int(each) for each in scaled.tolist())


def _range(values: Array) -> tuple[float, float] | None:
    known = values[np.isfinite(values)]
    return (float(known.min()), float(known.max())) if known.size else None


def means_left_out(cycles: CycleSet) -> tuple[int, Array | None, Array | None]:
    """Return how many cycles left out are whole, and their mean curves, to be drawn."""
    out = ~cycles.kept & np.isfinite(cycles.wearable_deg).all(axis=1)
    seen = cycles.reference_deg
    if seen is not None:
        out &= np.isfinite(seen).all(axis=1)
    if not out.any():
        return 0, None, None
    reference = None if seen is None else seen[out].mean(axis=0)
    return int(out.sum()), cycles.wearable_deg[out].mean(axis=0), reference
