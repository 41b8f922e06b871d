"""Normalised cross-correlation over a window of lags, gaps left out, in blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.signals.recording import Array

_BLOCK = 1 << 15


@dataclass(frozen=True, slots=True, eq=False)
class CorrelationFunction:
    """Correlation at each lag, in samples; NaN where too little overlaps.

    `lags` (m,) are whole samples: at lag k sample i of the second signal meets sample i + k of the
    first. `overlap` counts the pairs of finite samples.
    """

    lags: NDArray[np.int64]
    correlation: Array
    overlap: Array


def normalised_correlation(
    first: Array, second: Array, lowest: int, highest: int, min_overlap: int
) -> CorrelationFunction:
    """Correlate two gappy signals at each lag, with the mean and variance of that overlap.

    At lag k, over the pairs (i + k, i) at which both are finite,
    r = (n Σxy − Σx Σy) / √[(n Σx² − (Σx)²)(n Σy² − (Σy)²)], so that a long overlap has no
    advantage over a short one but its certainty. The six sums are cross-correlations of the
    signals, their squares and their masks (Padfield 2012, IEEE Trans Image Process 21:2706); each
    is summed in the frequency domain over blocks, so that memory does not grow with the
    recording.

    Parameters
    ----------
    first, second : arrays of float, shape (n,) and (m,)
        Signals on one rate; NaN is a gap.
    lowest, highest : int
        Lags sought, in samples, both included.
    min_overlap : int
        Fewest pairs for a correlation to be given, at least 3.
    """
    sums = _lagged_sums(first, second, lowest, highest)
    n, x, y, xx, yy, xy = sums
    n = np.rint(n)
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.maximum(n * xx - x * x, 0) * np.maximum(n * yy - y * y, 0)
        value = (n * xy - x * y) / np.sqrt(spread)
    # Rounding of the sums: a variance below 1e-12 of the mean square is none.
    solid = (n * xx - x * x > 1e-12 * n * n) & (n * yy - y * y > 1e-12 * n * n)
    value = np.where(solid & (n >= max(min_overlap, 3)), np.clip(value, -1, 1), np.nan)
    return CorrelationFunction(np.arange(lowest, highest + 1), value, n)


def _lagged_sums(first: Array, second: Array, lowest: int, highest: int) -> Array:
    """Return n, Σx, Σy, Σx², Σy², Σxy at each lag, (6, highest − lowest + 1)."""
    x_scale, y_scale = _mean_and_spread(first), _mean_and_spread(second)
    width = highest - lowest + 1
    size = scipy.fft.next_fast_len(max(2 * width, min(_BLOCK, second.size + width)), real=True)
    step = size - width + 1
    total = np.zeros((6, size // 2 + 1), dtype=np.complex128)
    for begin in range(0, second.size, step):
        y_part, y_known = _standardised(second, begin, begin + step, y_scale)
        x_part, x_known = _standardised(first, begin + lowest, begin + lowest + size, x_scale)
        if not (x_known.any() and y_known.any()):
            continue
        spectra = [scipy.fft.rfft(part, size) for part in (x_part, x_known, x_part * x_part)]
        others = [scipy.fft.rfft(part, size).conj() for part in (y_part, y_known, y_part * y_part)]
        total[0] += spectra[1] * others[1]
        total[1] += spectra[0] * others[1]
        total[2] += spectra[1] * others[0]
        total[3] += spectra[2] * others[1]
        total[4] += spectra[1] * others[2]
        total[5] += spectra[0] * others[0]
    return np.asarray(scipy.fft.irfft(total, size, axis=1)[:, :width])


def _mean_and_spread(signal: Array) -> tuple[float, float]:
    """Return mean and SD of the finite samples, a block at a time; the SD is 1 where it is 0."""
    blocks = range(0, signal.size, _BLOCK)
    count = total = 0.0
    for begin in blocks:
        part = signal[begin : begin + _BLOCK]
        known = np.isfinite(part)
        count += float(known.sum())
        total += float(part[known].sum())
    mean = total / max(count, 1.0)
    squares = 0.0
    for begin in blocks:
        part = signal[begin : begin + _BLOCK]
        squares += float(((part[np.isfinite(part)] - mean) ** 2).sum())
    spread = float(np.sqrt(squares / max(count, 1.0)))
    return mean, spread if spread > 0 else 1.0


def _standardised(
    signal: Array, low: int, high: int, scale: tuple[float, float]
) -> tuple[Array, Array]:
    """Return samples `low` to `high` at mean 0 and SD 1, and the mask of those that are there.

    Gaps, and what lies beyond either end, are 0 in both.
    """
    values, known = np.zeros(high - low), np.zeros(high - low)
    begin, end = max(low, 0), min(high, signal.size)
    if end > begin:
        part = signal[begin:end]
        finite = np.isfinite(part)
        values[begin - low : end - low] = np.where(finite, (part - scale[0]) / scale[1], 0.0)
        known[begin - low : end - low] = finite
    return values, known


def parabola_offset(left: float, middle: float, right: float) -> float:
    """Return where the parabola through three equidistant points peaks, in steps from the middle.

    Céspedes et al. 1995, Ultrason Imaging 17:142: the estimate has a small bias away from the
    half sample, which the least-squares fit that follows removes.
    """
    curvature = left - 2 * middle + right
    return 0.0 if curvature >= 0 else float(0.5 * (left - right) / curvature)


def local_maxima(correlation: Array) -> NDArray[np.int64]:
    """Return the indices of interior local maxima, highest first; NaN counts as lower than all."""
    filled = np.where(np.isfinite(correlation), correlation, -np.inf)
    inner = filled[1:-1]
    top = (inner >= filled[:-2]) & (inner > filled[2:]) & np.isfinite(inner)
    index = np.flatnonzero(top) + 1
    return index[np.argsort(-filled[index], kind="stable")]
