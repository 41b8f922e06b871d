"""Where the lag may lie: the correlation over the search window and what it rules out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.clocks.band import BandLimited, grid_times, thinned
from twinangle.clocks.correlation import (
    local_maxima,
    normalised_correlation,
    parabola_offset,
)
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, Array
from twinangle.thresholds import told_apart

# Common practice, no source.
CUTOFF_HZ = 10.0
WORK_RATE_HZ = 25.0
NATIVE_RATE_HZ = 50.0
_LEAST_CORRELATION = 0.5
_INVERTED = 0.7
LAG_COLUMN = "a column `expected_lag_s`"  # where a lag that is known about is written


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Correlation over the lags; `peaks` are indices of its maxima, highest first.

    `rate_correlation` and `rate_peaks` are the same of the angles' rates of change, which a slow
    drift of either angle leaves alone.
    """

    lags_s: Array
    correlation: Array
    rate_correlation: Array
    peaks: tuple[int, ...]
    rate_peaks: tuple[int, ...]
    stride_s: float  # period of the reference, NaN where it has none

    def refined(self, index: int) -> float:
        """Return the lag of a maximum, below a sample by the parabola through it."""
        step = float(self.lags_s[1] - self.lags_s[0])
        values = self.correlation if index in self.peaks else self.rate_correlation
        around = values[index - 1 : index + 2]
        if not np.isfinite(around).all():
            return float(self.lags_s[index])
        return float(self.lags_s[index] + step * parabola_offset(*(float(v) for v in around)))


def prepare(
    wearable: AngleRecording, reference: AngleRecording
) -> tuple[BandLimited, BandLimited, float]:
    """Return both angles in one band, and the rate to work at.

    Raises
    ------
    SynchronisationError
        If a recording is too short or does not move.
    """
    for recording, name in ((wearable, "wearable"), (reference, "reference")):
        _require_movement(recording, name)
    slowest = min(wearable.rate_hz, reference.rate_hz)
    rate = min(WORK_RATE_HZ, slowest)
    cutoff = CUTOFF_HZ * rate / WORK_RATE_HZ
    both = [thinned(item, cutoff, NATIVE_RATE_HZ) for item in (wearable, reference)]
    return both[0], both[1], rate


def _require_movement(recording: AngleRecording, name: str) -> None:
    finite = recording.angle_deg[np.isfinite(recording.angle_deg)]
    if finite.size < max(2.0 * recording.rate_hz, 16):
        raise SynchronisationError(
            f"{recording.source}: the {name} angle is too short to synchronise: {finite.size} "
            f"samples at {recording.rate_hz:g} Hz. At least 2 s are needed."
        )
    if np.ptp(finite) < 1e-6 * max(1.0, float(np.abs(finite).max())):
        raise SynchronisationError(
            f"{recording.source}: the {name} angle is constant at {finite[0]:g}°. A moving signal "
            "is needed: check the column named in the study."
        )


def search_lags(
    wearable: BandLimited,
    reference: BandLimited,
    rate_hz: float,
    *,
    expected_lag_s: float,
    max_lag_s: float,
    min_overlap_s: float,
) -> Search:
    """Correlate over every lag within `max_lag_s` of the expected one.

    Raises
    ------
    SynchronisationError
        If at no lag of the window enough of the recordings overlaps.
    """
    w_time, w_first = grid_times(wearable.start_s, wearable.end_s, rate_hz)
    r_time, r_first = grid_times(reference.start_s, reference.end_s, rate_hz)
    # At lag k the reference's sample i, counted from time 0 of its clock, meets sample i + k.
    shift = r_first - w_first
    lowest = int(np.ceil((expected_lag_s - max_lag_s) * rate_hz - 1e-6))
    highest = int(np.floor((expected_lag_s + max_lag_s) * rate_hz + 1e-6))
    # Beyond these not one sample of the two meets, however wide the search.
    lowest = max(lowest, 1 - r_time.size - shift)
    highest = min(highest, w_time.size - 1 - shift)
    if lowest > highest:
        raise SynchronisationError(_no_overlap(wearable, reference, expected_lag_s, max_lag_s))
    b, b_rate = reference.at(r_time)
    a, a_rate = wearable.at(w_time)
    both = [
        normalised_correlation(x, y, lowest + shift, highest + shift, int(min_overlap_s * rate_hz))
        for x, y in ((a, b), (a_rate, b_rate))
    ]
    if not np.isfinite(both[0].correlation).any():
        raise SynchronisationError(_no_overlap(wearable, reference, expected_lag_s, max_lag_s))
    peaks = [tuple(int(i) for i in local_maxima(function.correlation)) for function in both]
    return Search(
        lags_s=(both[0].lags - shift) / rate_hz,
        correlation=both[0].correlation,
        rate_correlation=both[1].correlation,
        peaks=peaks[0],
        rate_peaks=peaks[1],
        stride_s=period(b, rate_hz),
    )


def _no_overlap(
    wearable: BandLimited, reference: BandLimited, expected: float, max_lag_s: float
) -> str:
    window = f"within `max_lag_s` = {max_lag_s:g} s"
    if expected:
        window += f" of {expected:g} s"
    return (
        f"{wearable.source} runs from {wearable.start_s:.3f} to {wearable.end_s:.3f} s on its "
        f"clock and {reference.source} from {reference.start_s:.3f} to {reference.end_s:.3f} s on "
        f"its own: at no lag {window} do they overlap for long enough. Check the start times. If "
        f"both were started together, write {wearable.start_s - reference.start_s:.1f} into this "
        f"recording's row of the trials table, in {LAG_COLUMN}."
    )


def period(signal: Array, rate_hz: float) -> float:
    """Return the cycle time of a cyclic angle from its autocorrelation, NaN where it has none.

    The highest maximum between 0.5 and 2.5 s, at 0.4 or more; of near-equal ones the shortest.
    Near-equal is within 0.1, and within a fifth of the way from the lowest autocorrelation to the
    highest: sitting and standing lift all of it, so that half a stride is 0.1 below a whole one.
    Where there is none, as in slow exercises, likewise between 2.5 and 8 s.
    """
    found = _period_between(signal, rate_hz, 0.5, 2.5)
    return found if np.isfinite(found) else _period_between(signal, rate_hz, 2.5, 8.0)


def _period_between(signal: Array, rate_hz: float, shortest_s: float, longest_s: float) -> float:
    longest = min(int(longest_s * rate_hz), signal.size // 2)
    shortest = int(shortest_s * rate_hz)
    if longest <= shortest + 2:
        return float("nan")
    own = normalised_correlation(signal, signal, shortest, longest, 3 * longest // 2)
    peaks = local_maxima(own.correlation)
    if peaks.size == 0 or own.correlation[peaks[0]] < 0.4:
        return float("nan")
    top = float(own.correlation[peaks[0]])
    near = min(0.1, 0.2 * (top - float(np.nanmin(own.correlation))))
    best = min(int(i) for i in peaks if own.correlation[i] >= top - near)
    return float(own.lags[best] / rate_hz)


def choose_peak(found: Search, max_lag_s: float, wearable: str, reference: str) -> int:
    """Return the index of the highest maximum.

    Raises
    ------
    SynchronisationError
        If the correlation is still rising at the edge of the window, is negative where it is
        strongest, or is nowhere high.
    """
    value = found.correlation
    top = int(np.nanargmax(value))
    best, worst = float(value[top]), float(np.nanmin(value))
    if -worst > _INVERTED and -worst > best + 0.15:
        raise SynchronisationError(
            f"{wearable} and {reference} are mirror images: their correlation reaches {worst:.2f} "
            f"at a lag of {found.lags_s[int(np.nanargmin(value))]:+.2f} s, and {best:.2f} at most. "
            "One of the two has its sign inverted, and the pair does not tell which: look at the "
            "sign of either while the joint is bent. For the reference, set the key `sign` "
            "of `[reference]` to its opposite where all recordings are like this; where it is "
            "this one alone, give the opposite in the column `sign` of the trials table (of a "
            "wearable that delivers its angle: `sign` of `[wearable]`, column `wearable_sign`). "
            "Where the reference reads 180° for a straight joint, `offset` = -180 goes with it, "
            "beside the opposite `sign`."
        )
    if top not in found.peaks and _at_window_edge(found, top):
        raise SynchronisationError(
            f"{wearable} and {reference}: the correlation still rises at a lag of "
            f"{found.lags_s[top]:+.2f} s, the edge of the search. The lag seems to lie beyond "
            f"`max_lag_s` ({max_lag_s:g} s): write about what is to be added to the reference's "
            "times (by the hours at which the files began, or an event seen in both) into this "
            f"recording's row of the trials table, in {LAG_COLUMN}; or widen `max_lag_s` under "
            "[synchronisation], for all recordings."
        )
    rate = max((found.rate_correlation[i] for i in found.rate_peaks[:1]), default=-1.0)
    if not found.peaks or max(found.correlation[found.peaks[0]], rate) < _LEAST_CORRELATION:
        reached, least = told_apart(max(best, rate), _LEAST_CORRELATION, 2)
        raise SynchronisationError(
            f"{wearable} and {reference} do not resemble each other at any lag tried: their "
            f"correlation reaches {reached}, at least {least} is "
            "needed. Check that both hold the same trial and side. Where their clocks are further "
            f"apart than `max_lag_s` ({max_lag_s:g} s), write about what is to be added to the "
            f"reference's times into this recording's row of the trials table, in {LAG_COLUMN}."
        )
    return found.peaks[0]


def _at_window_edge(found: Search, index: int) -> bool:
    """Tell whether an index lies at an end of the search, not merely of the overlap."""
    return index <= 1 or index >= found.correlation.size - 2


def runner_up(found: Search, index: int) -> float:
    """Return the highest maximum at least 0.6 stride from the chosen one, NaN where none is."""
    apart = separation(found.stride_s)
    rivals = [
        float(found.correlation[i])
        for i in found.peaks
        if abs(found.lags_s[i] - found.lags_s[index]) >= apart
    ]
    return max(rivals, default=float("nan"))


def separation(stride_s: float) -> float:
    """Return how far a rival lag lies at least: 0.6 stride, or half a second without strides."""
    return 0.6 * stride_s if np.isfinite(stride_s) else 0.5
