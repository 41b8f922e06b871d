"""Synchronise two joint angles by what they have in common."""

from __future__ import annotations

import numpy as np

from twinangle.errors import SynchronisationError
from twinangle.recording import AngleRecording, Array, Synchronisation
from twinangle.synchronise.band import BandLimited
from twinangle.synchronise.clockfit import (
    ClockFit,
    ClockLine,
    WindowedLags,
    fit_line,
    half_width,
    robust_line,
    windowed_lags,
)
from twinangle.synchronise.search import Search, choose_peak, prepare, runner_up, search

_FIGURE_POINTS = 4000
_BLOCK_STRIDES = 3


def synchronise(
    wearable: AngleRecording,
    reference: AngleRecording,
    *,
    max_lag_s: float = 30.0,
    drift: bool = True,
    expected_lag_s: float = 0.0,
    min_overlap_s: float | None = None,
) -> Synchronisation:
    """Find how the reference clock lies on the wearable's from the two angles themselves.

    Normalised cross-correlation over the overlap finds the lag to a sample; generalised least
    squares on prewhitened residuals then gives lag and drift together with their standard errors.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock and rate, flexion positive in both; gaps are NaN.
    max_lag_s : float
        Largest lag considered either side of `expected_lag_s`, seconds.
    drift : bool
        Estimate the drift between the clocks; it is applied when its 95 % interval excludes 0.
    expected_lag_s : float
        Middle of the search, where the lag is roughly known.
    min_overlap_s : float, optional
        Shortest overlap at which a lag is considered; by default the smaller of 10 s and half the
        shorter recording.

    Returns
    -------
    Synchronisation
        ``t_wearable = t_reference (1 + drift_ppm 1e-6) + lag_s``. `lag_se_s` is the error of the
        lag at reference time 0.

    Raises
    ------
    SynchronisationError
        If a recording is too short or constant, the clocks do not overlap, the correlation is
        strongly negative, low everywhere, or still rising at the edge of the search.
    ValueError
        If `max_lag_s` is not above 0.
    """
    if not (np.isfinite(max_lag_s) and max_lag_s > 0):
        raise ValueError(f"`max_lag_s` must be above 0, got {max_lag_s!r}.")
    a, b, rate = prepare(wearable, reference)
    shorter = min(a.end_s - a.start_s, b.end_s - b.start_s)
    overlap = min(10.0, 0.5 * shorter) if min_overlap_s is None else min_overlap_s
    found = search(
        a, b, rate, expected_lag_s=expected_lag_s, max_lag_s=max_lag_s, min_overlap_s=overlap
    )
    peak = choose_peak(found, max_lag_s, wearable.source, reference.source)
    fit, windows, warnings = _fit(a, b, rate, found, found.refined(peak), drift)
    return _result(found, peak, fit, windows, warnings)


def _fit(
    a: BandLimited, b: BandLimited, rate: float, found: Search, lag_s: float, drift: bool
) -> tuple[ClockFit, WindowedLags, tuple[str, ...]]:
    """Fit the line from a first lag: windows for a first drift, then least squares."""
    line = ClockLine(_centre(a, b, lag_s), lag_s)
    stride = found.stride_s if np.isfinite(found.stride_s) else 1.0
    span = min(a.end_s, b.end_s + lag_s) - max(a.start_s, b.start_s + lag_s)
    window = float(np.clip(span / 30, 6 * stride, 300.0))
    options = {"rate_hz": rate, "window_s": window, "reach_s": 0.4 * stride}
    windows = windowed_lags(a, b, line, **options)
    if drift and windows.time_s.size >= 4:
        slope, _, _, intercept = robust_line(windows)
        line = ClockLine(line.centre_s, intercept + slope * line.centre_s, slope)
    block = _BLOCK_STRIDES * stride
    try:
        fit = fit_line(a, b, line, rate_hz=rate, drift=drift, block_s=block)
        if drift and not abs(fit.line.drift) > half_width(fit, fit.drift_se):
            still = ClockLine(line.centre_s, lag_s)
            plain = fit_line(a, b, still, rate_hz=rate, drift=False, block_s=block)
            # The joint fit's covariance stands: leaving the drift out is itself a guess.
            fit = ClockFit(plain.line, fit.covariance, fit.n_blocks, fit.gain, fit.residual_deg)
    except ValueError as error:
        raise SynchronisationError(f"{a.source} and {b.source}: {error}") from error
    return fit, windows, _line_warnings(fit, windows)


def _centre(a: BandLimited, b: BandLimited, lag_s: float) -> float:
    """Return the middle of the overlap on the reference clock."""
    start = max(a.start_s - lag_s, b.start_s)
    return 0.5 * (start + min(a.end_s - lag_s, b.end_s))


def _line_warnings(fit: ClockFit, windows: WindowedLags) -> tuple[str, ...]:
    """Warn where windowed lags leave the line by more than their own scatter explains."""
    if windows.time_s.size < 6:
        return ()
    line = fit.line
    off = windows.lag_s - line.lag_s - line.drift * (windows.time_s - line.centre_s)
    scatter = 1.4826 * float(np.median(np.abs(np.diff(off)))) / np.sqrt(2)
    sides = np.array([np.median(part) for part in np.array_split(off, 3)])
    worst = float(np.ptp(sides))
    if worst < max(0.01, 4 * scatter):
        return ()
    at = float(windows.time_s[int(np.argmax(np.abs(np.diff(off))))])
    text = (
        f"the clocks do not differ by a straight line: windowed lags leave it by up to "
        f"{np.abs(off).max() * 1e3:.0f} ms, most abruptly near {at:.1f} s on the reference clock. "
        "A logger may have skipped or repeated samples there."
    )
    return (text,)


def _result(
    found: Search, peak: int, fit: ClockFit, windows: WindowedLags, warnings: tuple[str, ...]
) -> Synchronisation:
    lags, values = _decimated(found.lags_s, found.correlation, peak)
    return Synchronisation(
        method="cross-correlation",
        lag_s=float(fit.line.lag_at_zero_s),
        lag_se_s=fit.lag_se_s(0.0),
        drift_ppm=float(fit.line.drift * 1e6),
        drift_se_ppm=fit.drift_se * 1e6,
        peak_correlation=float(found.correlation[peak]),
        runner_up_correlation=runner_up(found, peak),
        candidate_lags_s=lags,
        candidate_correlation=values,
        window_time_s=windows.time_s,
        window_lag_s=windows.lag_s,
        warnings=warnings,
    )


def _decimated(lags: Array, values: Array, peak: int) -> tuple[Array, Array]:
    """Thin the correlation out for a figure, the chosen lag and the lags with a value kept."""
    finite = np.flatnonzero(np.isfinite(values))
    step = max(int(np.ceil(finite.size / (_FIGURE_POINTS - 1))), 1)
    index = np.union1d(finite[::step], [peak])
    return lags[index], values[index]
