"""Windowed lags: the drift seen, whether a line fits it, and the line of long recordings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import theilslopes

from twinangle.recording import Array
from twinangle.synchronise.band import BandLimited
from twinangle.synchronise.clockfit import ClockFit, ClockLine, overlap_times
from twinangle.synchronise.correlation import normalised_correlation

_MOST_WINDOWS = 300
_LEAST_MOVEMENT_DEG = 1.0  # SD of a window's angle
_LEAST_CORRELATION = 0.7
_OUTLIER = 4.0  # robust SDs from the line
_STEP_S = 0.01  # a departure from the line below this is not worth a warning


@dataclass(frozen=True, slots=True, eq=False)
class WindowedLags:
    """Lag of each window: reference times (n,), lags (n,), and correlations (n,)."""

    time_s: Array
    lag_s: Array
    correlation: Array


def windowed_lags(
    wearable: BandLimited,
    reference: BandLimited,
    line: ClockLine,
    *,
    rate_hz: float,
    window_s: float,
    reach_s: float,
) -> WindowedLags:
    """Find the lag window by window: best correlation within `reach_s` of the line, then refined.

    A window counts when at least half of its samples are there, the angle moves in it, and it
    correlates at 0.7 or more. Of very many windows every q-th that moves is used, 300 in all.
    """
    times = overlap_times(wearable, reference, line, rate_hz)
    size = max(int(window_s * rate_hz), 8)
    angle, _ = wearable.at(times)
    starts = [
        first
        for first in range(0, times.size - size + 1, size)
        if _moves(angle[first : first + size])
    ]
    starts = starts[:: max(int(np.ceil(len(starts) / _MOST_WINDOWS)), 1)]
    found = [
        _window_lag(
            angle[first : first + size], reference, line, times[first : first + size], reach_s
        )
        for first in starts
    ]
    table = np.array([one for one in found if one is not None]).reshape(-1, 3)
    return WindowedLags(table[:, 0], table[:, 1], table[:, 2])


def _moves(angle: Array) -> bool:
    known = angle[np.isfinite(angle)]
    return bool(known.size >= 0.5 * angle.size and known.std() > _LEAST_MOVEMENT_DEG)


def _window_lag(
    angle: Array, reference: BandLimited, line: ClockLine, time: Array, reach_s: float
) -> tuple[float, float, float] | None:
    step = float(time[1] - time[0])
    reach = max(round(reach_s / step), 1)
    wide = time[0] + step * np.arange(-reach, time.size + reach)
    on_reference = line.to_reference(wide)
    part = reference.between(float(on_reference[0]), float(on_reference[-1]))
    b, _ = part.at(on_reference)
    near = normalised_correlation(angle, b, -2 * reach, 0, time.size // 2)
    if not np.isfinite(near.correlation).any():
        return None
    shift = step * float(int(near.lags[int(np.nanargmax(near.correlation))]) + reach)
    for _ in range(2):
        shift += _newton(angle, part, line, time, shift)
    value = _correlation_at(angle, part, line, time, shift)
    if not value >= _LEAST_CORRELATION:
        return None
    centre = float(line.to_reference(np.array([time.mean() - shift]))[0])
    return centre, line.lag_s + line.drift * (centre - line.centre_s) + shift, value


def _correlation_at(
    angle: Array, reference: BandLimited, line: ClockLine, time: Array, shift: float
) -> float:
    b, _ = reference.at(line.to_reference(time - shift))
    both = np.isfinite(angle) & np.isfinite(b)
    if both.sum() < 0.5 * time.size or np.std(b[both]) == 0:
        return float("nan")
    return float(np.corrcoef(angle[both], b[both])[0, 1])


def _newton(
    angle: Array, reference: BandLimited, line: ClockLine, time: Array, shift: float
) -> float:
    """Return one least-squares correction of the lag, at most one grid step."""
    b, b_rate = reference.at(line.to_reference(time - shift))
    rows = np.column_stack([np.ones(time.size), np.linspace(-1, 1, time.size), b, b_rate])
    both = np.isfinite(rows).all(axis=1) & np.isfinite(angle)
    if both.sum() < 8:
        return 0.0
    coefficients, *_ = np.linalg.lstsq(rows[both], angle[both], rcond=None)
    if abs(coefficients[2]) < 1e-6:
        return 0.0
    limit = float(time[1] - time[0])
    return float(np.clip(-coefficients[3] / coefficients[2], -limit, limit))


def robust_line(windows: WindowedLags, centre_s: float) -> ClockLine:
    """Return the line through the windows by Theil and Sen: the median of all slopes.

    Theil 1950; Sen 1968, J Am Stat Assoc 63:1379; computed by :func:`scipy.stats.theilslopes`.
    """
    slope, _, _, _ = theilslopes(windows.lag_s, windows.time_s)
    level = float(np.median(windows.lag_s - slope * (windows.time_s - centre_s)))
    return ClockLine(centre_s, level, float(slope))


def fit_windows(windows: WindowedLags, start: ClockLine, *, drift: bool) -> ClockFit:
    """Fit the line by least squares to the windows that lie near the robust one.

    For recordings too long for one fit of all samples. Errors by a delete-a-block jackknife over
    20 blocks of neighbouring windows.
    """
    off = windows.lag_s - start.lag_s - start.drift * (windows.time_s - start.centre_s)
    near = np.abs(off - np.median(off)) <= _OUTLIER * max(_robust_sd(off), 1e-4)
    time, lag = windows.time_s[near] - start.centre_s, windows.lag_s[near]
    rows = np.column_stack([np.ones(time.size), time]) if drift else np.ones((time.size, 1))
    whole = np.linalg.lstsq(rows, lag, rcond=None)[0]
    parts = [part for part in np.array_split(np.arange(time.size), 20) if part.size]
    left_out = np.zeros((len(parts), 2))
    for i, part in enumerate(parts):
        keep = np.setdiff1d(np.arange(time.size), part)
        left_out[i, : whole.size] = np.linalg.lstsq(rows[keep], lag[keep], rcond=None)[0]
    spread = left_out - left_out.mean(axis=0)
    n = len(parts)
    slope = float(whole[1]) if drift else 0.0
    return ClockFit(
        ClockLine(start.centre_s, float(whole[0]), slope),
        (n - 1) / n * spread.T @ spread,
        n,
        1.0,
        float("nan"),
    )


def _robust_sd(values: Array) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def line_warnings(line: ClockLine, windows: WindowedLags) -> tuple[str, ...]:
    """Warn where windowed lags leave the line by more than their own scatter explains.

    The scatter is that of neighbouring windows; a step or a bend makes the medians of the
    three thirds, or a run of windows, part by more than four of it and 10 ms.
    """
    if windows.time_s.size < 6:
        return ()
    off = windows.lag_s - line.lag_s - line.drift * (windows.time_s - line.centre_s)
    scatter = 1.4826 * float(np.median(np.abs(np.diff(off)))) / np.sqrt(2)
    thirds = [float(np.median(part)) for part in np.array_split(off, 3)]
    if max(thirds) - min(thirds) < max(_STEP_S, 4 * scatter):
        return ()
    at = int(np.argmax(np.abs(np.diff(off))))
    text = (
        f"the clocks do not differ by a straight line: windowed lags leave it by up to "
        f"{np.abs(off).max() * 1e3:.0f} ms and step by {np.diff(off)[at] * 1e3:+.0f} ms between "
        f"{windows.time_s[at]:.1f} and {windows.time_s[at + 1]:.1f} s on the reference clock. A "
        "logger may have skipped or repeated samples there."
    )
    return (text,)
