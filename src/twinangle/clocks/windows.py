"""Windowed lags: the drift seen, whether a line fits it, and the line of long recordings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.clocks.band import BandLimited
from twinangle.clocks.clockfit import ClockFit, ClockLine, overlap_times
from twinangle.clocks.clustered import clustered_errors
from twinangle.clocks.correlation import normalised_correlation
from twinangle.clocks.stepped import Stepped, StepWarned
from twinangle.clocks.steps import LagStep
from twinangle.notices import Notice
from twinangle.signals.recording import Array
from twinangle.signals.robust import robust_sd

# Common practice, no source.
_LEAST_MOVEMENT_DEG = 1.0  # SD of a window's angle
_LEAST_CORRELATION = 0.7
_OUTLIER = 4.0  # robust SDs from the line
_STEP_S = 0.005  # a departure from the line below this is not worth a warning
_FAR_BETTER = 40.0  # F of the step or bend
_LEAST_WINDOWS = 8
_OPEN = "These two files alone do not tell which."


@dataclass(frozen=True, slots=True, eq=False)
class WindowedLags:
    """Lag of each window: reference times (n,), lags (n,), and correlations (n,)."""

    time_s: Array
    lag_s: Array
    correlation: Array


@dataclass(frozen=True, slots=True)
class LineStep:
    """Two neighbouring windows, reference times, between which the lags step off the line."""

    before_s: float
    after_s: float
    size_s: float
    drift: float  # of the line on either side, a fraction


def windowed_lags(
    wearable: BandLimited,
    reference: BandLimited,
    line: ClockLine,
    *,
    rate_hz: float,
    window_s: float,
    reach_s: float,
    most: int = 300,
) -> WindowedLags:
    """Find the lag window by window: best correlation within `reach_s` of the line, then refined.

    A window counts when at least half of its samples are there, the angle moves in it, and it
    correlates at 0.7 or more. Of very many windows every q-th that moves is used, `most` at most.
    """
    times = overlap_times(wearable, reference, line, rate_hz)
    size = max(int(window_s * rate_hz), 8)
    moving = [
        times[first : first + size]
        for first in range(0, times.size - size + 1, size)
        if _moves(wearable.samples(float(times[first]), float(times[first + size - 1])))
    ]
    found = [
        _window_lag(wearable, reference, line, window, reach_s)
        for window in moving[:: max(int(np.ceil(len(moving) / most)), 1)]
    ]
    table = np.array([one for one in found if one is not None]).reshape(-1, 3)
    return WindowedLags(table[:, 0], table[:, 1], table[:, 2])


def _moves(angle: Array) -> bool:
    known = angle[np.isfinite(angle)]
    return bool(known.size >= 0.5 * angle.size and known.std() > _LEAST_MOVEMENT_DEG)


def _window_lag(
    wearable: BandLimited, reference: BandLimited, line: ClockLine, time: Array, reach_s: float
) -> tuple[float, float, float] | None:
    step = float(time[1] - time[0])
    angle, _ = wearable.between(float(time[0]), float(time[-1])).at(time)
    reach = max(round(reach_s / step), 1)
    wide = time[0] + step * np.arange(-reach, time.size + reach)
    on_reference = line.to_reference(wide)
    part = reference.between(float(on_reference[0]), float(on_reference[-1]))
    b, _ = part.at(on_reference)
    near = normalised_correlation(angle, b, -2 * reach, 0, time.size // 2)
    if not np.isfinite(near.correlation).any():
        return None
    shift = step * float(int(near.lags[int(np.nanargmax(near.correlation))]) + reach)
    value = float("nan")
    for _ in range(2):
        correction, value = _newton(angle, part, line, time, shift)
        shift += correction
    if not value >= _LEAST_CORRELATION:
        return None
    centre = float(line.to_reference(np.array([time.mean() - shift]))[0])
    return centre, line.lag_s + line.drift * (centre - line.centre_s) + shift, value


def _newton(
    angle: Array, reference: BandLimited, line: ClockLine, time: Array, shift: float
) -> tuple[float, float]:
    """Return one least-squares correction of the lag, at most one grid step, and the correlation.

    The correlation is that before the correction, NaN where under half of the samples are there.
    """
    b, b_rate = reference.at(line.to_reference(time - shift))
    both = np.isfinite(angle) & np.isfinite(b)
    if both.sum() < max(0.5 * time.size, 8):
        return 0.0, float("nan")
    trend = np.linspace(-1, 1, time.size)
    rows = np.column_stack([np.ones(time.size), trend, b, b_rate])[both]
    if np.ptp(rows[:, 2]) == 0 or np.ptp(angle[both]) == 0:
        return 0.0, float("nan")
    coefficients, *_ = np.linalg.lstsq(rows, angle[both], rcond=None)
    correlation = float(np.corrcoef(angle[both], rows[:, 2])[0, 1])
    if abs(coefficients[2]) < 1e-6:
        return 0.0, correlation
    limit = float(time[1] - time[0])
    return float(np.clip(-coefficients[3] / coefficients[2], -limit, limit)), correlation


def robust_line(windows: WindowedLags, centre_s: float) -> ClockLine:
    """Return the line through the windows by Theil and Sen: the median of all slopes.

    Theil 1950; Sen 1968, J Am Stat Assoc 63:1379; computed by :func:`scipy.stats.theilslopes`.
    """
    slope, _, _, _ = scipy.stats.theilslopes(windows.lag_s, windows.time_s)
    level = float(np.median(windows.lag_s - slope * (windows.time_s - centre_s)))
    return ClockLine(centre_s, level, float(slope))


def fit_windows(windows: WindowedLags, start: ClockLine, *, drift: bool) -> ClockFit:
    """Fit the line by least squares to the windows that lie near the robust one.

    For recordings too long for one fit of all samples. Errors are cluster-robust over 20 blocks of
    neighbouring windows (:func:`twinangle.clocks.clustered.clustered_errors`).
    """
    off = windows.lag_s - start.lag_s - start.drift * (windows.time_s - start.centre_s)
    near = np.abs(off - np.median(off)) <= _OUTLIER * max(robust_sd(off), 1e-4)
    time, lag = windows.time_s[near] - start.centre_s, windows.lag_s[near]
    rows = np.column_stack([np.ones(time.size), time]) if drift else np.ones((time.size, 1))
    solution = np.linalg.lstsq(rows, lag, rcond=None)[0]
    parts = [part for part in np.array_split(np.arange(time.size), 20) if part.size]
    covariance, freedom = clustered_errors(
        np.stack([rows[part].T @ rows[part] for part in parts]),
        np.stack([rows[part].T @ lag[part] for part in parts]),
        np.eye(2, rows.shape[1]),
    )
    slope = float(solution[1]) if drift else 0.0
    line = ClockLine(start.centre_s, float(solution[0]), slope)
    return ClockFit(line, covariance, freedom, 1.0, float("nan"))


def line_fault(windows: WindowedLags, *, drift: bool) -> LineStep | str:
    """Find where a step or a bend fits the windowed lags far better than the line does.

    To the line (a constant without `drift`) is added, in turn, a step between two windows, a
    square of time and, without `drift`, a slope. The best of them is reported when it takes out
    so much of the squared residual that F(1, n − k) exceeds 40 and it moves the lags by more than
    5 ms. The limits are a choice of this program.

    Parameters
    ----------
    windows : WindowedLags
    drift : bool
        Whether the line has a slope.

    Returns
    -------
    LineStep or str
        The step; else what the lags do, empty where they keep to the line.
    """
    time, lag = windows.time_s, windows.lag_s
    n = time.size
    if n < _LEAST_WINDOWS:
        return ""
    length_s = max(float(np.ptp(time)), 1e-9)
    scaled = (time - time.mean()) / length_s
    base = np.column_stack([np.ones(n), scaled]) if drift else np.ones((n, 1))
    extras: dict[int, Array] = {k: np.where(np.arange(n) >= k, 1.0, 0.0) for k in range(2, n - 1)}
    extras[-1] = scaled**2
    if not drift:
        extras[-2] = scaled
    before = _squares(base, lag)
    after = {key: _squares(np.column_stack([base, extra]), lag) for key, extra in extras.items()}
    best = min(after, key=lambda key: after[key])
    free = n - base.shape[1] - 1
    moved = np.sqrt(max(before - after[best], 0.0) / n)
    if moved < _STEP_S or (before - after[best]) * free <= _FAR_BETTER * after[best]:
        return ""
    if best < 0:
        return "drift between them" if best == -2 else "bend"
    found = np.linalg.lstsq(np.column_stack([base, extras[best]]), lag, rcond=None)[0]
    slope = float(found[1]) / length_s if drift else 0.0
    return LineStep(float(time[best - 1]), float(time[best]), float(found[-1]), slope)


def line_warnings(
    windows: WindowedLags,
    *,
    drift: bool,
    sources: tuple[str, str] = ("the wearable", "the reference"),
) -> tuple[str, ...]:
    """Warn where the windowed lags do not keep to the line: see :func:`line_fault`."""
    fault = line_fault(windows, drift=drift)
    if isinstance(fault, LineStep):
        both = ("reference", "wearable")
        loser, other = both if fault.size_s > 0 else both[::-1]
        text = (
            f"the clocks do not differ by a straight line: windowed lags step by "
            f"{fault.size_s * 1e3:+.0f} ms between {fault.before_s:.1f} and {fault.after_s:.1f} s "
            f"on the reference clock. Either the {loser} lost samples there, or the {other} "
            f"repeated some or had its clock set ahead. {_OPEN}"
        )
        found = Stepped(_as_lag_step(fault, windows), sources)
        return (StepWarned(text, found, _OPEN),)
    if not fault:
        return ()
    range_s = float(np.ptp(windows.lag_s))
    text = (
        f"the clocks do not differ by a straight line: windowed lags {fault} by "
        f"{range_s * 1e3:.0f} ms over the recording."
    )
    return (Notice(text, "clock-not-straight", "grave", range_s),)


def _as_lag_step(fault: LineStep, windows: WindowedLags) -> LagStep:
    """Return the step with its place on the wearable's clock; it has no evidence of its own."""
    known = windows.time_s <= fault.before_s
    before_s = float(windows.lag_s[known][-1])
    first_s, last_s = fault.before_s + before_s, fault.after_s + before_s
    return LagStep(
        0.5 * (first_s + last_s), first_s, last_s, before_s, before_s + fault.size_s,
        float("nan"), float("nan"),
    )  # fmt: skip


def _squares(rows: Array, target: Array) -> float:
    """Return the residual sum of squares, at least that of 0.1 ms a window."""
    left = target - rows @ np.linalg.lstsq(rows, target, rcond=None)[0]
    return float(left @ left) + target.size * 1e-8
