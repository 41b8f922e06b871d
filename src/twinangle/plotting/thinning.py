"""What is drawn of long traces and of many curves: small paths, extremes kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Array

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


def thinned(rows: Rows, limit: int) -> Rows:
    """Return at most `limit` row numbers, evenly spread over `rows`."""
    if rows.size <= limit:
        return rows
    chosen = np.unique(np.linspace(0, rows.size - 1, limit).round().astype(np.intp))
    return np.asarray(rows[chosen])
