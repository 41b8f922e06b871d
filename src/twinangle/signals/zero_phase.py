"""A Butterworth low-pass run forwards and backwards, as scipy's ``sosfiltfilt`` does.

That function finds the filter's settled state anew in every call, which takes longer than filtering
a minute of samples. Here it is found once a filter; the numbers are the same to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from twinangle.signals.recording import Array


@dataclass(frozen=True, slots=True, eq=False)
class LowPass:
    """A low-pass as second-order sections, with the state it settles to under a constant 1."""

    sections: Array  # (m, 6)
    settled: Array  # (m, 2)
    padding: int  # samples by which each end is extended, three times the filter's length


@lru_cache(maxsize=64)  # a search asks often
def butterworth(order: int, cutoff_hz: float, rate_hz: float) -> LowPass:
    """Return a Butterworth low-pass.

    Parameters
    ----------
    order : int
        Of one pass.
    cutoff_hz, rate_hz : float
        Cut-off of one pass, and sampling rate.
    """
    sections = np.asarray(scipy.signal.butter(order, cutoff_hz, fs=rate_hz, output="sos"))
    short = min((sections[:, 2] == 0).sum(), (sections[:, 5] == 0).sum())
    taps = 2 * sections.shape[0] + 1 - int(short)
    return LowPass(sections, np.asarray(scipy.signal.sosfilt_zi(sections)), 3 * taps)


def both_ways(low_pass: LowPass, values: Array, padding: int | None = None) -> Array:
    """Filter forwards and backwards, each end extended by its own reflection in the end point.

    Parameters
    ----------
    low_pass : LowPass
    values : (n,) or (n, k) array
        Without gaps; n above the padding.
    padding : int, optional
        Samples of the extension; by default the filter's own.

    Returns
    -------
    array of the same shape

    Raises
    ------
    ValueError
        If there are no more samples than the padding.
    """
    pad = low_pass.padding if padding is None else padding
    if values.shape[0] <= pad:
        raise ValueError(
            f"`values` must hold more than {pad} samples to be filtered, got {values.shape[0]}."
        )
    rows = np.ascontiguousarray(values.T)
    extended = _extended(rows, pad)
    settled = low_pass.settled.reshape(-1, *([1] * (rows.ndim - 1)), 2)
    found, _ = scipy.signal.sosfilt(low_pass.sections, extended, zi=settled * extended[..., :1])
    back = found[..., ::-1]
    found, _ = scipy.signal.sosfilt(low_pass.sections, back, zi=settled * back[..., :1])
    return np.asarray(found[..., ::-1][..., pad : found.shape[-1] - pad].T)


def _extended(rows: Array, pad: int) -> Array:
    """Return rows with each end turned about its end point: odd, so that slopes go on."""
    if pad == 0:
        return rows
    before = 2 * rows[..., :1] - rows[..., pad:0:-1]
    after = 2 * rows[..., -1:] - rows[..., -2 : -pad - 2 : -1]
    return np.concatenate([before, rows, after], axis=-1)
