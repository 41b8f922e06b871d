"""Find the events that cycles begin with, in the shank's rate or in the joint angle."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.errors import CycleError, TooFewCyclesError
from twinangle.notices import Notice
from twinangle.signals.recording import Array
from twinangle.signals.zero_phase import both_ways, butterworth
from twinangle.thresholds import told_apart

# Common practice, no source.
# Low-pass, zero phase. The slow band holds the swing itself, the wide one the foot's contact.
SWING_HZ = 5.0
CONTACT_HZ = 30.0
# A swing counts when it stands out by this part of the typical swing.
RELATIVE_PROMINENCE = 0.4
# Part of a stride after mid-swing in which contact is looked for; toe-off is 0.75 later.
CONTACT_WINDOW = 0.5
# A trough must be backward rotation, and deeper than this part of the swing's height: the foot's
# impact rings, and the first of its troughs is the contact.
TROUGH_PROMINENCE = 0.02
LONGEST_CYCLE_S = 15.0
Samples = slice | NDArray[np.bool_]  # which samples show what is typical
HELD_BELOW = 0.2  # of a peak's prominence: the flanks of a held peak are found there
CONTACT_DELAY_S = 0.010  # of the trough behind foot switches, Aminian et al. (2002)


class _Signal(NamedTuple):
    """What a signal is called, and below which swing it is standing whatever its shape."""

    name: str
    least: float
    unit: str
    zero_is_rest: bool


SHANK_RATE = _Signal("the shank's sagittal rate", 0.5, "rad/s", zero_is_rest=True)
ANGLE = _Signal("the wearable's angle", 5.0, "°", zero_is_rest=False)


def smooth(values: Array, rate_hz: float, cutoff_hz: float) -> Array:
    """Filter without delay (Butterworth, second order, forwards and backwards), gaps bridged.

    Gaps are bridged by straight lines so that they cannot spread; the cycles that touch them are
    excluded later. The cut-off is lowered to 0.4 of the rate when the rate is low.
    """
    bridged = bridge(values)
    low_pass = butterworth(2, min(cutoff_hz, 0.4 * rate_hz), rate_hz)
    padding = min(bridged.size - 1, int(3 * rate_hz / cutoff_hz) + 3)
    return both_ways(low_pass, bridged, padding)


def bridge(values: Array) -> Array:
    """Fill gaps by straight lines, and the ends by the nearest sample."""
    good = np.isfinite(values)
    if good.all():
        return values
    index = np.arange(values.size)
    return np.interp(index, index[good], values[good])


def initial_contacts(
    rate_rad_s: Array, angle_deg: Array, *, rate_hz: float, stretch: Samples = slice(None)
) -> tuple[Array, tuple[str, ...]]:
    """Find initial contacts in the shank's sagittal angular rate.

    Parameters
    ----------
    rate_rad_s : ndarray, shape (n,)
        Shank's rate about the flexion axis, rad/s, either sign; NaN is a gap.
    angle_deg : ndarray, shape (n,)
        Joint angle, flexion positive; settles the sign where the rate alone cannot.
    rate_hz : float
        Sampling rate.
    stretch : slice or ndarray of bool, shape (n,)
        The samples that show what is typical; events are found in all.

    Returns
    -------
    ndarray, shape (k,)
        Times of initial contact in seconds after the first sample, to a fraction of a sample.
    tuple of str
        Warnings.

    Raises
    ------
    CycleError
        If the rate is constant, or never swings by more than 0.5 rad/s.

    Notes
    -----
    The shank swings forwards fastest at mid-swing; the next trough of the rate is initial
    contact [1]_. It comes about 10 ms after foot switches [1]_, which is taken off (another group
    found 33.9 ± 10.4 ms [2]_).

    References
    ----------
    .. [1] Aminian et al. (2002). J Biomech 35, 689-699.
    .. [2] Greene et al. (2012). J Appl Biomech 28, 349-355: 33.9 ± 10.4 ms (mean error of the time
       of heel strike against an instrumented walkway).
    """
    refuse_constant(rate_rad_s[stretch], SHANK_RATE.name)
    slow = smooth(rate_rad_s, rate_hz, SWING_HZ)
    extension = -np.gradient(smooth(angle_deg, rate_hz, SWING_HZ))
    sign, warnings = _forward_sign(slow[stretch], extension[stretch])
    swings = _prominent_peaks(sign * slow, rate_hz, SHANK_RATE, stretch)
    wide = sign * smooth(rate_rad_s, rate_hz, CONTACT_HZ)
    return _troughs_after(wide, swings, rate_hz) - CONTACT_DELAY_S, warnings


def flexion_peaks(
    angle_deg: Array, *, rate_hz: float, stretch: Samples = slice(None), held: bool = False
) -> tuple[Array, tuple[str, ...]]:
    """Find the peaks of flexion, one a cycle (in walking, swing flexion).

    Parameters
    ----------
    angle_deg : ndarray, shape (n,)
        Joint angle, flexion positive; NaN is a gap.
    rate_hz : float
        Sampling rate.
    stretch : slice or ndarray of bool, shape (n,)
        The samples that show what is typical; events are found in all.
    held : bool
        Whether the peak may be held, as at the turning points of an exercise. Where on a level
        stretch the largest sample lies is chance; the event is then midway between the places at
        which the angle is below the peak by a fifth of its prominence.

    Returns
    -------
    ndarray, shape (k,)
        Times of the peaks in seconds after the first sample, to a fraction of a sample.
    tuple of str
        A warning where the angle dips from a plateau, as walking does with the sign inverted.

    Raises
    ------
    CycleError
        If the angle never moves by more than 5°.

    Notes
    -----
    A peak counts when its prominence reaches 0.4 of the typical one, which leaves out the
    stance peak (a quarter of the swing peak in normal gait; from memory). The typical prominence
    is the median weighted by squared prominence, so that hours of standing do not count.
    Common practice, no source.
    """
    slow = smooth(angle_deg, rate_hz, SWING_HZ)
    peaks = _prominent_peaks(slow, rate_hz, ANGLE, stretch)
    if held:
        return _midway(slow, peaks, rate_hz) / rate_hz, ()
    return _refine(slow, peaks) / rate_hz, _inverted(slow[stretch])


def _midway(values: Array, peaks: NDArray[np.int64], rate_hz: float) -> Array:
    """Return the middles of peaks, between samples, a fifth of their prominence below the top."""
    if peaks.size == 0:
        return np.zeros(0)
    window = 2 * int(LONGEST_CYCLE_S * rate_hz / 2) + 1
    left, right = scipy.signal.peak_widths(
        values, peaks, rel_height=HELD_BELOW, wlen=max(window, 3)
    )[2:]
    return np.asarray(0.5 * (left + right))


def _inverted(slow: Array) -> tuple[str, ...]:
    """Warn of an angle that dips: in walking the knee stays near extension and flexes in swing."""
    skewness = float(scipy.stats.skew(slow))
    if skewness > -0.5:
        return ()
    text = (
        f"The angle stays high and dips (skewness {skewness:.2f}; walking knees have about +1): if "
        "this is walking, the sign of the wearable's angle is inverted."
    )
    return (Notice(text, "flexion-sign", "grave"),)


def refuse_constant(values: Array, what: str) -> None:
    """Refuse a signal that holds one value or none.

    Raises
    ------
    CycleError
        If no sample is finite, or all are equal.
    """
    good = values[np.isfinite(values)]
    if good.size == 0:
        raise CycleError(f"No cycle found: {what} is missing throughout.")
    if np.ptp(good) <= 1e-9 * max(1.0, float(np.abs(good).max())):
        raise CycleError(
            f"No cycle found: {what} is constant at {good[0]:g}. Check that the channel is the "
            "right one and that its sensor was running."
        )


def _forward_sign(slow: Array, extension: Array) -> tuple[float, tuple[str, ...]]:
    """Sign that makes forward swing positive.

    The shank swings forwards in a short fast burst and backwards slowly, so the rate is skewed
    towards forward; and the knee extends while it does.
    """
    centred = slow - slow.mean()
    skewness = float(scipy.stats.skew(slow))
    spread = float(np.std(extension) * np.std(slow))
    agreement = float(np.mean(centred * extension)) / spread if spread > 0 else 0.0
    if abs(skewness) < 0.3:
        return (1.0 if agreement >= 0 else -1.0), ()
    sign = 1.0 if skewness > 0 else -1.0
    if sign * agreement < -0.3:
        text = (
            "The knee flexes while the shank swings forwards (correlation "
            f"{sign * agreement:.2f} of the shank's rate with extension): check the sign of the "
            "wearable's angle, and that thigh and shank are not swapped."
        )
        return sign, (Notice(text, "flexion-sign", "grave"),)
    return sign, ()


def _prominent_peaks(
    values: Array, rate_hz: float, signal: _Signal, stretch: Samples
) -> NDArray[np.int64]:
    """Find the maxima whose prominence is near the typical one."""
    window = 2 * int(LONGEST_CYCLE_S * rate_hz / 2) + 1
    peaks, found = scipy.signal.find_peaks(values, prominence=0.0, wlen=max(window, 3))
    prominences = found["prominences"]
    if signal.zero_is_rest:  # a swing is fast forwards, not only faster than before and after
        prominences = np.minimum(prominences, np.maximum(values[peaks], 0.0))
    chosen = np.zeros(values.size, dtype=bool)
    chosen[stretch] = True
    ordered = np.sort(prominences[chosen[peaks]])
    if ordered.size == 0 or ordered[-1] < signal.least:
        largest, least = told_apart(float(ordered.max(initial=0.0)), signal.least)
        raise TooFewCyclesError(
            f"No cycle found: {signal.name} never swings by more than "
            f"{largest} {signal.unit}, and {least} {signal.unit} is "
            "the least that counts as movement."
        )
    weight = np.cumsum(ordered**2)
    typical = ordered[np.searchsorted(weight, weight[-1] / 2)]
    return np.asarray(peaks[prominences >= max(RELATIVE_PROMINENCE * typical, signal.least)])


def _troughs_after(values: Array, swings: NDArray[np.int64], rate_hz: float) -> Array:
    """First marked trough after each mid-swing peak, in seconds after the first sample."""
    if swings.size < 2:
        return np.zeros(0)
    stride = np.diff(swings)
    typical = float(np.median(stride))
    reach = CONTACT_WINDOW * np.minimum(np.append(stride, typical), typical)
    least = TROUGH_PROMINENCE * float(np.median(values[swings]))
    troughs, _ = scipy.signal.find_peaks(
        -values, height=0.0, prominence=least, wlen=2 * int(rate_hz) + 1
    )
    next_trough = np.searchsorted(troughs, swings, side="right")
    swings, reach = swings[next_trough < troughs.size], reach[next_trough < troughs.size]
    candidate = troughs[next_trough[next_trough < troughs.size]]
    return _refine(values, np.unique(candidate[candidate - swings <= reach])) / rate_hz


def _refine(values: Array, index: NDArray[np.int64]) -> Array:
    """Place extrema between samples by the parabola through three of them."""
    index = index[(index > 0) & (index < values.size - 1)]
    left, centre, right = values[index - 1], values[index], values[index + 1]
    curvature = left - 2 * centre + right
    safe = np.where(curvature == 0, 1.0, curvature)
    offset = np.where(curvature == 0, 0.0, 0.5 * (left - right) / safe)
    return np.asarray(index + offset, dtype=np.float64)
