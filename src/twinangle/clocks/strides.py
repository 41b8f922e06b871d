"""The strides of an angle: where each begins, its phase, and how long and large it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.clocks.correlation import parabola_offset
from twinangle.signals.recording import Array

_SHORTEST, _LONGEST = 0.6, 1.6  # of the typical stride, for two peaks to bound one


@dataclass(frozen=True, slots=True, eq=False)
class Strides:
    """Peaks of an angle, in samples (fractions), and their heights above the trough before."""

    peaks: Array
    height: Array
    stride: float  # typical stride in samples, NaN where the angle is not cyclic


def find_strides(angle: Array, stride: float) -> Strides:
    """Find the one large peak of each stride, on the side to which the angle is skewed.

    Parameters
    ----------
    angle : array of float, shape (n,)
        Uniform samples, NaN in gaps.
    stride : float
        Typical stride in samples; NaN gives no strides.
    """
    nothing = Strides(np.zeros(0), np.zeros(0), stride)
    known = np.isfinite(angle)
    if not np.isfinite(stride) or known.sum() < 2 * stride:
        return nothing
    centred = np.where(known, angle - np.nanmean(angle), 0.0)
    signed = centred * (1.0 if np.mean(centred**3) >= 0 else -1.0)
    spread = float(np.ptp(np.percentile(signed[known], [5, 95])))
    index, _ = scipy.signal.find_peaks(
        signed, distance=max(int(0.6 * stride), 1), prominence=0.4 * spread
    )
    index = index[(index > 0) & (index < angle.size - 1)]
    index = index[known[index - 1] & known[index] & known[index + 1]]
    at = [i + parabola_offset(*(float(v) for v in signed[i - 1 : i + 2])) for i in index]
    back = max(int(0.8 * stride), 1)
    height = [signed[i] - signed[max(i - back, 0) : i + 1].min() for i in index]
    return Strides(np.array(at, dtype=float), np.array(height, dtype=float), stride)


def phase_columns(strides: Strides, n: int, harmonics: int) -> Array:
    """Return cos and sin of 2πmφ, m = 1 … `harmonics`, (n, 2·harmonics); 0 outside strides."""
    phase, inside = np.zeros(n), np.zeros(n, dtype=bool)
    sample = np.arange(n)
    for begin, end in zip(strides.peaks[:-1], strides.peaks[1:], strict=True):
        if _SHORTEST < (end - begin) / strides.stride < _LONGEST:
            part = slice(int(np.ceil(begin)), int(np.ceil(end)))
            phase[part] = (sample[part] - begin) / (end - begin)
            inside[part] = True
    turns = 2 * np.pi * phase[:, None] * np.arange(1, harmonics + 1)
    return np.asarray(np.hstack([np.cos(turns), np.sin(turns)]) * inside[:, None])


def stride_blocks(strides: Strides, n: int, fallback: float) -> NDArray[np.int64]:
    """Return each sample's stride number; stretches of about a stride where there is none, (n,)."""
    length = strides.stride if np.isfinite(strides.stride) else fallback
    bounds = [0.0]
    for peak in [*strides.peaks, float(n)]:
        gap = peak - bounds[-1]
        if gap < 0.4 * length:
            continue
        pieces = max(round(gap / length), 1)
        bounds.extend(bounds[-1] + gap * np.arange(1, pieces + 1) / pieces)
    number = np.searchsorted(np.array(bounds[1:]), np.arange(n), side="right")
    return np.asarray(number, dtype=np.int64)


def matched_series(
    first: Strides, second: Strides, lag: float, low: float, high: float
) -> tuple[Array, Array]:
    """Return durations and heights of the strides both angles have at a lag, (n, 2) each.

    `lag` is in samples and added to the second's peaks; columns are first and second. Only peaks
    between `low` and `high` (samples of the first) count.
    """
    moved = second.peaks + lag
    if first.peaks.size < 2 or moved.size < 2:
        return np.zeros((0, 2)), np.zeros((0, 2))
    after = np.clip(np.searchsorted(moved, first.peaks), 1, moved.size - 1)
    nearest = after - (first.peaks - moved[after - 1] <= moved[after] - first.peaks)
    close = np.abs(first.peaks - moved[nearest]) < 0.25 * first.stride
    close &= (first.peaks >= low) & (first.peaks <= high)
    index = np.flatnonzero(close)
    pairs = np.column_stack([first.peaks[index], moved[nearest[index]]])
    heights = np.column_stack([first.height[index], second.height[nearest[index]]])
    step = np.diff(pairs, axis=0)
    ratio = step / first.stride
    whole = ((ratio > _SHORTEST) & (ratio < _LONGEST)).all(axis=1)
    return step[whole], heights[1:][whole]
