"""Synchronise two joint angles by what they have in common."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from twinangle.checks import require_positive
from twinangle.clocks.band import BandLimited
from twinangle.clocks.clock_intervals import total_error
from twinangle.clocks.clockfit import (
    ClockFit,
    ClockLine,
    fit_line,
    lags_along,
    systematic_drift,
    systematic_lag,
)
from twinangle.clocks.decision import Decision, decide
from twinangle.clocks.search import Search, choose_peak, prepare, runner_up, search
from twinangle.clocks.windows import (
    WindowedLags,
    fit_windows,
    line_warnings,
    robust_line,
    windowed_lags,
)
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, Array, Synchronisation
from twinangle.thresholds import told_apart

# Our own choices, no source; what they lead to is printed by benchmarks/synchronisation.py.
_FIGURE_POINTS = 4000
_BLOCK_STRIDES = 2
_ACCEPT = 7.0  # G above which a lag is accepted (see decision.py)
_FEWEST_STRIDES = 8
_ANCHOR_S = 300.0  # of a long recording, the stretch on which the stride is decided
_LONG_S = 3600.0  # above, the line is fitted to windowed lags
_FEW_WINDOWS, _MANY_WINDOWS = 16, 300  # while following a long line, and to fit it
_DRIFT_MAX = 300e-6  # of two clocks against each other; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """Both angles in one band, the rate to work at, and the file names for messages."""

    wearable: BandLimited
    reference: BandLimited
    rate_hz: float

    @property
    def names(self) -> str:
        return f"{self.wearable.source} and {self.reference.source}"


def synchronise(
    wearable: AngleRecording,
    reference: AngleRecording,
    *,
    max_lag_s: float = 30.0,
    drift: bool = True,
    expected_lag_s: float = 0.0,
    min_overlap_s: float | None = None,
    refuse: bool = True,
) -> Synchronisation:
    """Find how the reference clock lies on the wearable's from the two angles themselves.

    Normalised cross-correlation over the overlap finds the lags that may be; a likelihood ratio
    over strides decides between them (:func:`twinangle.clocks.decision.decide`); generalised
    least squares on prewhitened residuals then gives lag and drift with their standard errors.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock and rate, flexion positive in both; gaps are NaN.
    max_lag_s : float
        Largest offset of the clocks considered, either side of `expected_lag_s`, seconds, over the
        stretch recorded by both. Below half a stride it settles which stride it is.
    drift : bool
        Estimate the drift between the clocks; it is applied when it exceeds its
        standard error.
    expected_lag_s : float
        Middle of the search, where the lag is roughly known.
    min_overlap_s : float, optional
        Shortest overlap at which a lag is considered; by default the smaller of 10 s and half the
        shorter recording.
    refuse : bool
        Raise where it is not certain which stride it is; False turns that into a warning.

    Returns
    -------
    Synchronisation
        ``t_wearable = t_reference (1 + drift_ppm 1e-6) + lag_s``. `lag_se_s` is the total
        error of the lag at reference time 0, `centre_lag_se_s` that at `centre_s`. `evidence` is
        G, NaN where no other lag came into question.

    Raises
    ------
    SynchronisationError
        If a recording is too short or constant, the clocks do not overlap, the correlation is
        strongly negative, low everywhere, or still rising at the edge of the search, or if it
        cannot be told which stride it is.
    ValueError
        If `max_lag_s` is not above 0.
    """
    require_positive(max_lag_s, "max_lag_s")
    pair = _within_reach(_Pair(*prepare(wearable, reference)), expected_lag_s, max_lag_s)
    anchor = _anchor(pair, expected_lag_s, max_lag_s)
    shorter = min(side.end_s - side.start_s for side in (anchor.wearable, anchor.reference))
    found = search(
        anchor.wearable,
        anchor.reference,
        pair.rate_hz,
        expected_lag_s=expected_lag_s,
        max_lag_s=max_lag_s,
        min_overlap_s=min(10.0, 0.5 * shorter) if min_overlap_s is None else min_overlap_s,
    )
    choose_peak(found, max_lag_s, wearable.source, reference.source)
    chosen = decide(anchor.wearable, anchor.reference, found, pair.rate_hz)
    doubt = _doubt(chosen, found, pair.names)
    if doubt and refuse:
        raise SynchronisationError(doubt)
    fit, windows = _fit(anchor, found, found.refined(chosen.index), drift)
    if anchor is not pair:
        fit, windows = _extend(pair, fit, windows, found, drift)
    clock = _result(pair, anchor, found, chosen, fit, windows, drift=drift)
    return replace(clock, warnings=(doubt, *clock.warnings)) if doubt else clock


def _within_reach(pair: _Pair, expected_lag_s: float, max_lag_s: float) -> _Pair:
    """Return what of each recording can meet the other at any lag allowed.

    So that a few minutes of reference within a day of the wearable cost minutes, not a day.
    """
    a, b = pair.wearable, pair.reference
    slack = max_lag_s + _DRIFT_MAX * max(a.end_s - a.start_s, b.end_s - b.start_s)
    low = max(a.start_s, b.start_s + expected_lag_s - slack)
    high = min(a.end_s, b.end_s + expected_lag_s + slack)
    if low >= high:
        return pair  # the search says that they do not overlap
    return _Pair(
        a.between(low, high),
        b.between(low - expected_lag_s - slack, high - expected_lag_s + slack),
        pair.rate_hz,
    )


def _anchor(pair: _Pair, expected_lag_s: float, max_lag_s: float) -> _Pair:
    """Return the stretch of a long pair on which the wearable moves most; a short pair whole.

    Clocks that part by 150 ppm are 0.1 s apart over it: too little to smear a stride.
    """
    a, b = pair.wearable, pair.reference
    reach = expected_lag_s + np.array([-max_lag_s, max_lag_s])
    start, end = max(a.start_s, b.start_s + reach[0]), min(a.end_s, b.end_s + reach[1])
    if end - start <= 2 * _ANCHOR_S:
        return pair
    step = max(int(a.rate_hz / 5), 1)
    angle = a.samples(start, end)[::step]
    speed = np.nan_to_num(np.abs(np.diff(angle, prepend=angle[0])))
    total = np.concatenate([[0.0], np.cumsum(np.minimum(speed, 20.0))])
    size = int(_ANCHOR_S * a.rate_hz / step)
    first = int(np.argmax(total[size:] - total[:-size])) * step / a.rate_hz
    low = max(start, a.start_s) + first
    high = low + _ANCHOR_S
    return _Pair(a.between(low, high), b.between(low - reach[1], high - reach[0]), pair.rate_hz)


def _doubt(chosen: Decision, found: Search, names: str) -> str:
    """Return why it is not certain which stride it is, empty where it is."""
    if not np.isfinite(chosen.evidence):
        return ""
    reasons = []
    if chosen.n_strides < _FEWEST_STRIDES:
        reasons.append(f"only {chosen.n_strides} cycles to tell by, {_FEWEST_STRIDES} are needed")
    if chosen.evidence <= _ACCEPT:
        found_evidence, needed = told_apart(chosen.evidence, _ACCEPT)
        reasons.append(f"evidence of {found_evidence}, above {needed} is needed")
    if chosen.second_opinion <= 0:
        reasons.append("the cycles' durations and sizes fit another lag better")
    if not reasons:
        return ""
    lag = found.lags_s[chosen.index]
    return (
        f"{names}: it cannot be told which cycle is which. Lags of {lag:+.2f} s and "
        f"{chosen.rival_lag_s:+.2f} s fit about as well ({'; '.join(reasons)}). What would settle "
        "it: a `max_lag_s` below half a cycle around a known lag, a trigger recorded with both, "
        "an event at start and end (a jump, a stamp or heel taps, from whom that is safe for: "
        "docs/recording.md), or a longer recording with a start, a "
        "stop or a turn in it."
    )


def _fit(pair: _Pair, found: Search, lag_s: float, drift: bool) -> tuple[ClockFit, WindowedLags]:
    """Fit the line from a first lag: windows for a first drift, then least squares."""
    a, b, rate = pair.wearable, pair.reference, pair.rate_hz
    line = ClockLine(_centre(a, b, lag_s), lag_s)
    stride = _stride(found)
    span = min(a.end_s, b.end_s + lag_s) - max(a.start_s, b.start_s + lag_s)
    window = max(span / 30, 6 * stride)
    windows = windowed_lags(a, b, line, rate_hz=rate, window_s=window, reach_s=0.4 * stride)
    if drift and windows.time_s.size >= 4:
        first = robust_line(windows, line.centre_s)
        line = first if abs(first.drift) < _DRIFT_MAX else line
    return _least_squares(pair, line, stride, drift), windows


def _least_squares(pair: _Pair, line: ClockLine, stride_s: float, drift: bool) -> ClockFit:
    """Fit lag and drift from a first line; a drift that is not real is left out."""
    a, b = pair.wearable, pair.reference
    settings = {"rate_hz": pair.rate_hz, "block_s": _BLOCK_STRIDES * stride_s}
    try:
        fit = fit_line(a, b, line, drift=drift, **settings)
        if not drift or _real(fit):
            return fit
        still = ClockLine(line.centre_s, fit.line.lag_s)
        plain = fit_line(a, b, still, drift=False, **settings)
    except ValueError as error:
        raise SynchronisationError(f"{pair.names}: {error}") from error
    # The joint fit's covariance stands: leaving the drift out is itself a guess.
    return replace(fit, line=plain.line)


def _real(fit: ClockFit) -> bool:
    """Tell whether the drift exceeds its standard error.

    Below that, a drift of 0 has the smaller expected squared error: the estimate's is its
    variance, that of 0 the square of the true drift.
    """
    return abs(fit.line.drift) > fit.drift_se


def _stride(found: Search) -> float:
    return found.stride_s if np.isfinite(found.stride_s) else 1.0


def _extend(
    pair: _Pair, fit: ClockFit, windows: WindowedLags, found: Search, drift: bool
) -> tuple[ClockFit, WindowedLags]:
    """Follow the line from the anchor outwards, doubling the span, then fit it over all."""
    a, b, rate = pair.wearable, pair.reference, pair.rate_hz
    line, stride = fit.line, _stride(found)
    whole = max(a.end_s, b.end_s) - min(a.start_s, b.start_s)
    span, reach = _ANCHOR_S, 0.4 * stride
    while span < 2 * whole:
        span *= 2
        near = b.between(line.centre_s - span / 2, line.centre_s + span / 2)
        most = _FEW_WINDOWS if span < 2 * whole else _MANY_WINDOWS
        latest = windowed_lags(a, near, line, rate_hz=rate, window_s=60.0, reach_s=reach, most=most)
        if latest.time_s.size >= 6:
            windows = latest
            line = robust_line(windows, line.centre_s) if drift else line
    line = line.recentred(_centre(a, b, line.lag_s))
    if whole > _LONG_S and windows.time_s.size >= 20:
        fit = fit_windows(windows, line, drift=drift)
        if drift and not _real(fit):
            fit = replace(fit, line=fit_windows(windows, line, drift=False).line)
        return fit, windows
    return _least_squares(pair, line, stride, drift), windows


def _centre(a: BandLimited, b: BandLimited, lag_s: float) -> float:
    """Return the middle of the overlap on the reference clock."""
    start = max(a.start_s - lag_s, b.start_s)
    return 0.5 * (start + min(a.end_s - lag_s, b.end_s))


def _seen(
    pair: _Pair, fit: ClockFit, windows: WindowedLags, stride_s: float
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


def _result(
    pair: _Pair,
    anchor: _Pair,
    found: Search,
    chosen: Decision,
    fit: ClockFit,
    windows: WindowedLags,
    *,
    drift: bool,
) -> Synchronisation:
    lags, values = _decimated(found.lags_s, found.correlation, chosen.index)
    times, window_lags, window_errors = _seen(pair, fit, windows, _stride(found))
    return Synchronisation(
        method="cross-correlation",
        lag_s=float(fit.line.lag_at_zero_s),
        drift_ppm=float(fit.line.drift * 1e6),
        **_errors(
            fit,
            systematic_lag(anchor.wearable, anchor.reference, fit, anchor.rate_hz, found.stride_s),
            windows.time_s,
            drift=drift,
        ),
        peak_correlation=float(found.correlation[chosen.index]),
        runner_up_correlation=runner_up(found, chosen.index),
        candidate_lags_s=lags,
        candidate_correlation=values,
        window_time_s=times,
        window_lag_s=window_lags,
        window_lag_se_s=window_errors,
        evidence=chosen.evidence if np.isfinite(chosen.evidence) else float("nan"),
        centre_s=float(fit.line.centre_s),
        warnings=line_warnings(windows, drift=drift),
    )


def _errors(fit: ClockFit, of_lag: float, window_time_s: Array, *, drift: bool) -> dict[str, float]:
    """Return the errors of lag and drift, each part and both together.

    `of_lag` is the systematic part of the lag.
    """
    of_drift = systematic_drift(of_lag, window_time_s)
    centre = fit.line.centre_s
    statistical = fit.lag_se_s(centre)
    lag, lag_df = total_error(statistical, float(fit.freedom[0]), of_lag)
    found = {
        "centre_lag_se_s": lag,
        "centre_lag_df": lag_df,
        "lag_statistical_s": statistical,
        "lag_systematic_s": of_lag,
    }
    at_zero, _ = total_error(fit.lag_se_s(0.0), float("nan"), of_lag)
    if not drift:
        return found | {"lag_se_s": at_zero}
    slope, slope_df = total_error(fit.drift_se, float(fit.freedom[1]), of_drift)
    return found | {
        "lag_se_s": total_error(at_zero, float("nan"), of_drift * centre)[0],
        "drift_se_ppm": slope * 1e6,
        "drift_df": slope_df,
        "drift_statistical_ppm": fit.drift_se * 1e6,
        "drift_systematic_ppm": of_drift * 1e6,
    }


def _decimated(lags: Array, values: Array, peak: int) -> tuple[Array, Array]:
    """Thin the correlation out for a figure, the chosen lag and the lags with a value kept."""
    finite = np.flatnonzero(np.isfinite(values))
    step = max(int(np.ceil(finite.size / (_FIGURE_POINTS - 1))), 1)
    index = np.union1d(finite[::step], [peak])
    return lags[index], values[index]
