"""Time normalisation: cut a uniform signal at the events, 101 points a cycle."""

from __future__ import annotations

import numpy as np

from twinangle.signals.recording import Array

CYCLE_PERCENT: Array = np.linspace(0.0, 100.0, 101)


def cut(signal: Array, start_s: Array, end_s: Array, *, origin_s: float, rate_hz: float) -> Array:
    """Interpolate a signal at 0, 1, ... 100 % of each cycle.

    Parameters
    ----------
    signal : ndarray, shape (n,)
        Uniform samples, sample k at ``origin_s + k / rate_hz``; NaN is a gap.
    start_s, end_s : ndarray, shape (m,)
        Start and end of each cycle, in seconds.
    origin_s, rate_hz : float
        Time of the first sample and sampling rate.

    Returns
    -------
    ndarray, shape (m, 101)
        The curves, in the signal's unit. NaN beyond the ends of the signal and inside gaps.

    Notes
    -----
    Cubic (four-point Lagrange) interpolation, exact for cubics and at the samples [1]_; linear
    where only the two nearest samples exist (at the ends and beside a gap).

    References
    ----------
    .. [1] Abramowitz & Stegun (1964). Handbook of Mathematical Functions, 25.2.13.
    """
    times = start_s[:, None] + (end_s - start_s)[:, None] * (CYCLE_PERCENT / 100.0)
    # A cycle that ends on the last sample must not lose it to rounding.
    position = np.round((times - origin_s) * rate_hz, 9)
    inside = (position >= 0) & (position <= signal.size - 1)
    left = np.clip(np.floor(position).astype(np.int64), 0, signal.size - 2)
    p = position - left
    before, first, second, after = (_sample(signal, left + k) for k in (-1, 0, 1, 2))
    linear = np.where(p == 0, first, np.where(p == 1, second, (1 - p) * first + p * second))
    cubic = (
        -p * (p - 1) * (p - 2) / 6 * before
        + (p * p - 1) * (p - 2) / 2 * first
        - p * (p + 1) * (p - 2) / 2 * second
        + p * (p * p - 1) / 6 * after
    )
    return np.where(inside, np.where(np.isfinite(cubic), cubic, linear), np.nan)


def _sample(signal: Array, index: np.ndarray) -> Array:
    """Take samples by index; NaN beyond the ends."""
    inside = (index >= 0) & (index < signal.size)
    return np.where(inside, signal[np.clip(index, 0, signal.size - 1)], np.nan)


def count_missing(
    signal: Array, start_s: Array, end_s: Array, *, origin_s: float, rate_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """Count missing samples and samples in all in each cycle, both (m,).

    Samples before the first and after the last count as missing.
    """
    first = np.ceil((start_s - origin_s) * rate_hz - 1e-6).astype(np.int64)
    last = np.floor((end_s - origin_s) * rate_hz + 1e-6).astype(np.int64)
    total = last - first + 1
    low, high = np.clip(first, 0, signal.size), np.clip(last + 1, 0, signal.size)
    present = np.concatenate(([0], np.cumsum(np.isfinite(signal))))
    return total - (present[high] - present[low]), total
