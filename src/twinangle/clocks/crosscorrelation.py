"""Synchronise two joint angles by what they have in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

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
from twinangle.clocks.drift_prior import shrink_drift
from twinangle.clocks.search import Search, choose_peak, prepare, runner_up, search_lags
from twinangle.clocks.steps import LagStep, clearest, find_step, search_step
from twinangle.clocks.windows import (
    WindowedLags,
    fit_windows,
    line_warnings,
    robust_line,
    windowed_lags,
)
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.signals.recording import AngleRecording, Array, Synchronisation
from twinangle.thresholds import told_apart

# Our own choices, no source; what they lead to is printed by benchmarks/synchronisation.py.
_FIGURE_POINTS = 4000
_BLOCK_STRIDES = 2
_ACCEPT = 7.0  # G above which a lag is accepted (see decision.py)
_ENOUGH_STRIDES, _FEWEST_STRIDES = 8, 4  # with fewer than the first, G must be larger
_ANCHOR_S = 300.0  # of a long recording, the stretch on which the stride is decided
_LONG_S = 3600.0  # above, the line is fitted to windowed lags
_FEW_WINDOWS, _MANY_WINDOWS = 16, 300  # while following a long line, and to fit it
_DRIFT_MAX = 300e-6  # of two clocks against each other; common practice, no source
_LIKELY_SHARE = 0.5  # of the drift's systematic bound, as a standard deviation
_SURELY_ALIKE = 0.9  # correlation at a lag outside the search, for it to be named
_STEEPEST = 2500e-6  # a first line steeper than this is not drawn through few windows


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
        Estimate the drift between the clocks, weighed against what clocks do
        (:func:`twinangle.clocks.drift_prior.shrink_drift`).
    expected_lag_s : float
        Middle of the search, where the lag is roughly known.
    min_overlap_s : float, optional
        Shortest overlap at which a lag is considered; by default the smaller of 10 s and half the
        shorter recording.
    refuse : bool
        Raise where it is not certain which stride it is, or where a file has lost samples; False
        turns that into a warning.

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
        strongly negative, low everywhere, or still rising at the edge of the search, if one of
        the files has lost samples without a gap in its times, or if it cannot be told which
        stride it is.
    ValueError
        If `max_lag_s` is not above 0.
    """
    require_positive(max_lag_s, "max_lag_s")
    whole = _Pair(*prepare(wearable, reference))
    pair = _within_reach(whole, expected_lag_s, max_lag_s)
    anchor = _anchor(pair, expected_lag_s, max_lag_s)
    shorter = min(side.end_s - side.start_s for side in (anchor.wearable, anchor.reference))
    found = search_lags(
        anchor.wearable,
        anchor.reference,
        pair.rate_hz,
        expected_lag_s=expected_lag_s,
        max_lag_s=max_lag_s,
        min_overlap_s=min(10.0, 0.5 * shorter) if min_overlap_s is None else min_overlap_s,
    )
    stepped = partial(
        search_step,
        anchor.wearable,
        anchor.reference,
        expected_lag_s=expected_lag_s,
        max_lag_s=max_lag_s,
        stride_s=found.stride_s,
    )
    try:
        choose_peak(found, max_lag_s, wearable.source, reference.source)
    except SynchronisationError as error:
        beyond = _beyond(whole, expected_lag_s, max_lag_s)
        raise SynchronisationError(beyond or _told(stepped(), pair) or str(error)) from None
    chosen = decide(anchor.wearable, anchor.reference, found, pair.rate_hz)
    lag_s = found.refined(chosen.index)
    doubt = _doubt(chosen, found, pair.names)
    step = find_step(pair.wearable, pair.reference, lag_s, stride_s=found.stride_s)
    if step is not None or doubt:  # a step found at a wrong lag is clearer at the right one
        beyond = _beyond(whole, expected_lag_s, max_lag_s)
        doubt = beyond or _told(clearest([step, stepped()]), pair) or doubt
    if doubt and refuse:
        raise SynchronisationError(doubt)
    fit, windows = _fit(anchor, found, lag_s, drift)
    if anchor is not pair:
        fit, windows = _extend(pair, fit, windows, found, drift)
    clock = _result(pair, anchor, found, chosen, fit, windows, drift=drift)
    told = Notice(doubt, "uncertain-stride", "grave")
    return replace(clock, warnings=(told, *clock.warnings)) if doubt else clock


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


def _beyond(whole: _Pair, expected_lag_s: float, max_lag_s: float) -> str:
    """Return that the lag lies outside the search, where it surely does; else empty.

    Looked at only where the search fails: a stride off, the lag seems to step, or cycles cannot be
    told apart.
    """
    a, b = whole.wearable, whole.reference
    shorter, longer = sorted(side.end_s - side.start_s for side in (a, b))
    if longer > _LONG_S:
        return ""
    reach = max(
        abs(a.end_s - b.start_s - expected_lag_s), abs(b.end_s - a.start_s + expected_lag_s)
    )
    found = search_lags(
        a,
        b,
        whole.rate_hz,
        expected_lag_s=expected_lag_s,
        max_lag_s=max(reach, max_lag_s),
        min_overlap_s=0.5 * shorter,
    )
    try:
        choose_peak(found, reach, a.source, b.source)
    except SynchronisationError:
        return ""
    chosen = decide(a, b, found, whole.rate_hz)
    lag_s, alike = found.refined(chosen.index), float(found.correlation[chosen.index])
    if abs(lag_s - expected_lag_s) <= max_lag_s or alike < _SURELY_ALIKE:
        return ""
    if _doubt(chosen, found, whole.names):
        return ""
    about = f" of {expected_lag_s:g} s" if expected_lag_s else ""
    return (
        f"{whole.names}: no lag within `max_lag_s` ({max_lag_s:g} s){about} fits, while at "
        f"{lag_s:+.2f} s, outside the search, the two correlate at {alike:.2f}. Widen `max_lag_s`, "
        f"or state `expected_lag_s` = {lag_s:.1f} ([synchronisation], or a column of the trials "
        "table)."
    )


def _told(step: LagStep | None, pair: _Pair) -> str:
    """Return what one of the files lost, empty where nothing seems lost."""
    return "" if step is None else step.told(pair.wearable.source, pair.reference.source)


def _doubt(chosen: Decision, found: Search, names: str) -> str:
    """Return why it is not certain which stride it is, empty where it is."""
    if not np.isfinite(chosen.evidence):
        return ""
    reasons = []
    n = chosen.n_strides
    required = _ACCEPT * max(1.0, _ENOUGH_STRIDES / max(n, _FEWEST_STRIDES))
    if n < _FEWEST_STRIDES:
        reasons.append(f"only {n} cycles to tell by, {_FEWEST_STRIDES} are needed at least")
    elif chosen.evidence <= required:
        found_evidence, needed = told_apart(chosen.evidence, required)
        few = f" with only {n} cycles to tell by" if n < _ENOUGH_STRIDES else ""
        reasons.append(f"evidence of {found_evidence}, above {needed} is needed{few}")
    # Of fewer strides, durations and sizes correlate by chance.
    if n >= _ENOUGH_STRIDES and chosen.second_opinion <= 0:
        reasons.append("the cycles' durations and sizes fit another lag better")
    if not reasons:
        return ""
    lag = found.lags_s[chosen.index]
    return (
        f"{names}: it cannot be told which cycle is which. Lags of {lag:+.2f} s and "
        f"{chosen.rival_lag_s:+.2f} s fit about as well ({'; '.join(reasons)}). What would settle "
        "it: a `max_lag_s` below half a cycle around a known lag (`expected_lag_s`; the trials "
        "table has a column for either), a trigger recorded with both, "
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
        line = first if abs(first.drift) < _STEEPEST else line
    return _least_squares(pair, line, stride, drift=drift), windows


def _least_squares(pair: _Pair, line: ClockLine, stride_s: float, *, drift: bool) -> ClockFit:
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
    pair: _Pair, fit: ClockFit, of_lag: float, windows: WindowedLags, stride_s: float
) -> tuple[ClockFit, _Slope]:
    """Weigh the drift against what clocks do, and fit the lag again along it.

    `of_lag` is the systematic part of the lag's error.
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
        return fit_windows(windows, line, drift=drift), windows
    return _least_squares(pair, line, stride, drift=drift), windows


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
    of_lag = systematic_lag(anchor.wearable, anchor.reference, fit, anchor.rate_hz, found.stride_s)
    slope = None
    if drift:
        fit, slope = _weigh_drift(pair, fit, of_lag, windows, _stride(found))
    times, window_lags, window_errors = _seen(pair, fit, windows, _stride(found))
    return Synchronisation(
        method="cross-correlation",
        lag_s=float(fit.line.lag_at_zero_s),
        drift_ppm=float(fit.line.drift * 1e6),
        **_errors(fit, of_lag, slope),
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
