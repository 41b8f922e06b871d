"""From the stride that was decided on to lag and drift, with their errors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from twinangle.clocks.band import BandLimited
from twinangle.clocks.between_bouts import lost_between
from twinangle.clocks.clock_intervals import total_error
from twinangle.clocks.clockfit import (
    ClockFit,
    ClockLine,
    fit_line,
    lags_along,
    systematic_drift,
    systematic_lag,
)
from twinangle.clocks.drift_prior import shrink_drift
from twinangle.clocks.search import Search, runner_up
from twinangle.clocks.stepped import StepWarned
from twinangle.clocks.which_stride import Decision
from twinangle.clocks.windows import (
    LineStep,
    WindowedLags,
    fit_windows,
    line_fault,
    line_warnings,
    robust_line,
    windowed_lags,
)
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import Array, Synchronisation

# Our own choices, no source; what they lead to is printed by benchmarks/synchronisation.py.
_FIGURE_POINTS = 4000


_BLOCK_STRIDES = 2


ANCHOR_S = 300.0  # of a long recording, the stretch on which the stride is decided


LONG_S = 3600.0  # above, the line is fitted to windowed lags


_FEW_WINDOWS, _MANY_WINDOWS = 16, 300  # while following a long line, and to fit it


_LIKELY_SHARE = 0.5  # of the drift's systematic bound, as a standard deviation


_STEEPEST = 2500e-6  # a first line steeper than this is not drawn through few windows


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Both angles in one band, the rate to work at, and the file names for messages."""

    wearable: BandLimited
    reference: BandLimited
    rate_hz: float

    @property
    def names(self) -> str:
        """Both files, for a message."""
        return f"{self.wearable.source} and {self.reference.source}"


def fit_clock(
    pair: Pair, found: Search, lag_s: float, drift: bool
) -> tuple[ClockFit, WindowedLags]:
    """Fit the line from a first lag: windows for a first drift, then least squares."""
    a, b, rate = pair.wearable, pair.reference, pair.rate_hz
    line = ClockLine(_centre(a, b, lag_s), lag_s)
    stride = _stride(found)
    span = min(a.end_s, b.end_s + lag_s) - max(a.start_s, b.start_s + lag_s)
    window = max(span / 30, 6 * stride)
    windows = windowed_lags(a, b, line, rate_hz=rate, window_s=window, reach_s=0.4 * stride)
    if drift and windows.time_s.size >= 4:
        first = robust_line(windows, line.centre_s)
        line = first if abs(first.drift) < _STEEPEST else line
    return _least_squares(pair, line, stride, drift=drift), windows


def _least_squares(pair: Pair, line: ClockLine, stride_s: float, *, drift: bool) -> ClockFit:
    """Fit the lag, and the drift where it is not given, from a first line."""
    a, b = pair.wearable, pair.reference
    settings = {"rate_hz": pair.rate_hz, "block_s": _BLOCK_STRIDES * stride_s}
    try:
        return fit_line(a, b, line, drift=drift, **settings)
    except ValueError as error:
        raise SynchronisationError(f"{pair.names}: {error}") from error


@dataclass(frozen=True, slots=True)
class _Slope:
    """The drift's error: statistical and systematic part, and in all; fractions."""

    statistical: float
    systematic: float
    total: float
    freedom: float


def _weigh_drift(
    pair: Pair, fit: ClockFit, of_lag: float, windows: WindowedLags, stride_s: float
) -> tuple[ClockFit, _Slope]:
    """Weigh the drift against what clocks do, and fit the lag again along it.

    `of_lag` is the systematic part of the lag's error, a difference of range left out.
    """
    of_drift = systematic_drift(of_lag, windows.time_s)
    total, freedom = total_error(fit.drift_se, float(fit.freedom[1]), of_drift)
    # The systematic part is a bound, and errors were seen to be a third of it: half counts in the
    # weighing, all of it in the error that is stated.
    likely, its_freedom = total_error(fit.drift_se, float(fit.freedom[1]), _LIKELY_SHARE * of_drift)
    weighed = shrink_drift(fit.line.drift, likely, its_freedom)
    spread = shrink_drift(fit.line.drift, total, freedom).error
    slope = _Slope(fit.drift_se, of_drift, max(spread, weighed.error), freedom)
    line = replace(fit.line, drift=weighed.drift)
    if np.isfinite(fit.residual_deg):  # not a line of windows, where the prior hardly counts
        line = _least_squares(pair, line, stride_s, drift=False).line
    # The joint fit's covariance stands: the drift is not known, only weighed.
    return replace(fit, line=line), slope


def _stride(found: Search) -> float:
    return found.stride_s if np.isfinite(found.stride_s) else 1.0


def extend_line(
    pair: Pair, fit: ClockFit, windows: WindowedLags, found: Search, drift: bool
) -> tuple[ClockFit, WindowedLags]:
    """Follow the line from the anchor outwards, doubling the span, then fit it over all."""
    a, b, rate = pair.wearable, pair.reference, pair.rate_hz
    line, stride = fit.line, _stride(found)
    whole = max(a.end_s, b.end_s) - min(a.start_s, b.start_s)
    span, reach = ANCHOR_S, 0.4 * stride
    while span < 2 * whole:
        span *= 2
        near = b.between(line.centre_s - span / 2, line.centre_s + span / 2)
        most = _FEW_WINDOWS if span < 2 * whole else _MANY_WINDOWS
        latest = windowed_lags(a, near, line, rate_hz=rate, window_s=60.0, reach_s=reach, most=most)
        if latest.time_s.size >= 6:
            windows = latest
            line = robust_line(windows, line.centre_s) if drift else line
    line = line.recentred(_centre(a, b, line.lag_s))
    if whole > LONG_S and windows.time_s.size >= 20:
        return fit_windows(windows, line, drift=drift), windows
    return _least_squares(pair, line, stride, drift=drift), windows


def _centre(a: BandLimited, b: BandLimited, lag_s: float) -> float:
    """Return the middle of the overlap on the reference clock."""
    start = max(a.start_s - lag_s, b.start_s)
    return 0.5 * (start + min(a.end_s - lag_s, b.end_s))


def _seen(
    pair: Pair, fit: ClockFit, windows: WindowedLags, stride_s: float
) -> tuple[Array, Array, Array]:
    """Return the windowed lags behind the line, with their errors: the fit's own, for a figure."""
    if np.isnan(fit.residual_deg) or windows.time_s.size < 2:  # the line of windows themselves
        return windows.time_s, windows.lag_s, np.full(windows.time_s.size, np.nan)
    return lags_along(
        pair.wearable,
        pair.reference,
        fit.line,
        rate_hz=pair.rate_hz,
        window_s=float(np.median(np.diff(windows.time_s))),
        block_s=stride_s,
    )


def clock_of(
    pair: Pair,
    anchor: Pair,
    found: Search,
    chosen: Decision,
    fit: ClockFit,
    windows: WindowedLags,
    *,
    drift: bool,
) -> Synchronisation:
    """Return the clock that the fitted line gives, with every error of lag and drift."""
    lags, values = _decimated(found.lags_s, found.correlation, chosen.index)
    of_lag = systematic_lag(anchor.wearable, anchor.reference, fit, anchor.rate_hz, found.stride_s)
    slope = None
    if drift:
        fit, slope = _weigh_drift(pair, fit, of_lag.pattern_s, windows, _stride(found))
    times, window_lags, window_errors = _seen(pair, fit, windows, _stride(found))
    return Synchronisation(
        method="cross-correlation",
        lag_s=float(fit.line.lag_at_zero_s),
        drift_ppm=float(fit.line.drift * 1e6),
        **_errors(fit, of_lag.whole_s, slope),
        peak_correlation=float(found.correlation[chosen.index]),
        runner_up_correlation=runner_up(found, chosen.index),
        candidate_lags_s=lags,
        candidate_correlation=values,
        window_time_s=times,
        window_lag_s=window_lags,
        window_lag_se_s=window_errors,
        evidence=chosen.evidence if np.isfinite(chosen.evidence) else float("nan"),
        centre_s=float(fit.line.centre_s),
        warnings=_line_warnings(pair, fit, windows, _stride(found), drift=drift),
    )


def _line_warnings(
    pair: Pair, fit: ClockFit, windows: WindowedLags, stride_s: float, *, drift: bool
) -> tuple[str, ...]:
    """Warn of lags that do not keep to the line, with what was lost where the bouts tell it."""
    step = line_fault(windows, drift=drift)
    if isinstance(step, LineStep):
        window_s = float(np.diff(windows.time_s).min())
        found = lost_between(
            pair.wearable, pair.reference, fit.line, step, window_s=window_s, stride_s=stride_s
        )
        if found is not None:
            return (found,)
        sources = (pair.wearable.source, pair.reference.source)
        (told,) = line_warnings(windows, drift=drift, sources=sources)
        if isinstance(told, StepWarned):
            told = told.followed_by("Whole strides may be missing besides.")
        return (told,)
    return line_warnings(windows, drift=drift)


def _errors(fit: ClockFit, of_lag: float, slope: _Slope | None) -> dict[str, float]:
    """Return the errors of lag and drift, each part and both together.

    `of_lag` is the systematic part of the lag; `slope` is None where no drift was fitted.
    """
    centre = fit.line.centre_s
    statistical = fit.lag_se_s(centre)
    lag, lag_df = total_error(statistical, float(fit.freedom[0]), of_lag)
    found = {
        "centre_lag_se_s": lag,
        "centre_lag_df": lag_df,
        "lag_statistical_s": statistical,
        "lag_systematic_s": of_lag,
    }
    if slope is None:
        at_zero, _ = total_error(fit.lag_se_s(0.0), float("nan"), of_lag)
        return found | {"lag_se_s": at_zero}
    return found | {
        # about the middle the errors of lag and drift are nearly independent
        "lag_se_s": float(np.hypot(lag, slope.total * centre)),
        "drift_se_ppm": slope.total * 1e6,
        "drift_df": slope.freedom,
        "drift_statistical_ppm": slope.statistical * 1e6,
        "drift_systematic_ppm": slope.systematic * 1e6,
    }


def _decimated(lags: Array, values: Array, peak: int) -> tuple[Array, Array]:
    """Thin the correlation out for a figure, the chosen lag and the lags with a value kept."""
    finite = np.flatnonzero(np.isfinite(values))
    step = max(int(np.ceil(finite.size / (_FIGURE_POINTS - 1))), 1)
    index = np.union1d(finite[::step], [peak])
    return lags[index], values[index]
