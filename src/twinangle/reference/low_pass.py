"""Low-pass filtering without phase shift, gaps kept."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.errors import RecordingError
from twinangle.signals.recording import Array


def require_cutoff(cutoff_hz: float, rate_hz: float, source: str) -> None:
    """Refuse a cut-off that the sampling rate cannot carry.

    Raises
    ------
    RecordingError
        If the cut-off is not below half the sampling rate.
    """
    if cutoff_hz >= rate_hz / 2:
        raise RecordingError(
            f"{source}: [reference] `filter_hz` is {cutoff_hz:g}, but samples at {rate_hz:g} Hz "
            f"carry less than {rate_hz / 2:g} Hz."
        )


def zero_phase_low_pass(values: Array, *, rate_hz: float, cutoff_hz: float) -> Array:
    """Low-pass filter without phase shift: second-order Butterworth, forward and backward.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN is a gap; the stretches between gaps are filtered each by itself.
    rate_hz, cutoff_hz : float
        Sampling rate, and the frequency at which the two passes together halve the power.

    Returns
    -------
    ndarray, shape (n,)
        Gaps stay gaps. Stretches too short for the filter (up to nine samples) stay as they are.

    Raises
    ------
    ValueError
        If the cut-off is not between 0 and half the sampling rate, the correction below included.

    Notes
    -----
    Each pass has the cut-off ``c`` with ``tan(pi c / rate) = tan(pi cutoff / rate) /
    (sqrt(2) - 1)**0.25``: two passes multiply the attenuation, so each may take half of it [1]_.

    References
    ----------
    .. [1] Winter (2009). Biomechanics and motor control of human movement, 4th ed., Wiley, ch. 3.
    """
    if not 0 < cutoff_hz < rate_hz / 2:
        raise ValueError(
            f"`cutoff_hz` must be above 0 and below half the sampling rate, {rate_hz / 2:g} Hz, "
            f"got {cutoff_hz:g}."
        )
    warped = np.tan(np.pi * cutoff_hz / rate_hz) / (np.sqrt(2) - 1) ** 0.25
    sections = scipy.signal.butter(2, 2 * np.arctan(warped) / np.pi, output="sos")
    filtered = np.array(values, dtype=np.float64)
    present = np.concatenate(([0], np.isfinite(filtered).astype(np.int8), [0]))
    edges = np.flatnonzero(np.diff(present))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start > 9:  # sosfiltfilt extends each end by nine samples
            filtered[start:end] = scipy.signal.sosfiltfilt(sections, filtered[start:end])
    return filtered
