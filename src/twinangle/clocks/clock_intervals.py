"""Confidence intervals of lag and drift."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.checks import require_fraction
from twinangle.signals.recording import Array, Interval, Synchronisation


def total_error(statistical: float, freedom: float, systematic: float) -> tuple[float, float]:
    """Return the total standard error of two parts in quadrature, and its degrees of freedom.

    By Welch and Satterthwaite, the systematic part being known by its bound and not from scatter:
    ν (total / statistical)⁴ [1]_. An unknown systematic part (NaN) adds nothing.

    References
    ----------
    .. [1] JCGM 100:2008, Evaluation of measurement data (GUM), section G.4 (from memory).
    """
    total = float(np.hypot(statistical, systematic if np.isfinite(systematic) else 0.0))
    if not (np.isfinite(freedom) and statistical > 0):
        return total, freedom
    return total, float(freedom * (total / statistical) ** 4)


def lag_interval(
    clock: Synchronisation, *, confidence: float = 0.95, systematic: bool = True
) -> Interval | None:
    """Return the confidence interval of the lag at the middle of the overlap, in seconds.

    lag ± t_ν SE, with SE the total standard error and t_ν the quantile of Student's t for its
    degrees of freedom (:func:`total_error`), the normal quantile where they are not known.

    Parameters
    ----------
    clock : Synchronisation
        As found by any method.
    confidence : float
        Share of intervals that hold the true lag, between 0 and 1.
    systematic : bool
        With the part that a difference repeating every stride may cause, where it is known.
        False leaves it out: the interval is statistical only and may miss by that part.

    Returns
    -------
    Interval or None
        About the lag at `clock.centre_s`, or at reference time 0 where that is not known; None
        where the method gives no error (a clock given by hand), or one of 0.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    known = np.isfinite(clock.centre_s) and np.isfinite(clock.centre_lag_se_s)
    centre = clock.centre_s if known else 0.0
    lag = clock.lag_s + centre * clock.drift_ppm * 1e-6
    error = clock.centre_lag_se_s if known else clock.lag_se_s
    freedom = clock.centre_lag_df
    if not systematic and np.isfinite(clock.lag_statistical_s):
        error, freedom = _without_systematic(error, freedom, clock.lag_statistical_s)
    return _about(lag, error, freedom, confidence)


def _without_systematic(total: float, freedom: float, statistical: float) -> tuple[float, float]:
    """Undo :func:`total_error`."""
    return statistical, freedom * (statistical / total) ** 4 if total > 0 else freedom


def drift_interval(
    clock: Synchronisation, *, confidence: float = 0.95, systematic: bool = True
) -> Interval | None:
    """Return the confidence interval of the drift, in parts per million.

    Parameters
    ----------
    clock : Synchronisation
        As found by any method.
    confidence : float
        Share of intervals that hold the true drift, between 0 and 1.
    systematic : bool
        As in :func:`lag_interval`.

    Returns
    -------
    Interval or None
        None where the drift was not estimated.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    error, freedom = clock.drift_se_ppm, clock.drift_df
    if not systematic and np.isfinite(clock.drift_statistical_ppm):
        # the total before it was weighed against what clocks do: its degrees of freedom stand
        total, _ = total_error(
            clock.drift_statistical_ppm, float("nan"), clock.drift_systematic_ppm
        )
        error, freedom = _without_systematic(total, freedom, clock.drift_statistical_ppm)
    return _about(clock.drift_ppm, error, freedom, confidence)


def line_se_s(clock: Synchronisation, reference_s: Array) -> Array | None:
    """Return the standard error of the line at reference times, for comparison with the windows.

    √(a² + b² (t − centre)²), a the statistical part of the lag's error and b the drift's total.
    The systematic part of the lag is the same at all times: it moves the line and the windowed
    lags alike, so that it is no part of how they compare. None where a part is not known.

    Parameters
    ----------
    clock : Synchronisation
        With the errors of lag and drift.
    reference_s : array, shape (n,)
        Times on the reference's clock.

    Returns
    -------
    array, shape (n,), or None
        In seconds.
    """
    known = (clock.centre_s, clock.lag_statistical_s, clock.drift_se_ppm)
    if not np.isfinite(known).all():
        return None
    slope = clock.drift_se_ppm * 1e-6
    return np.asarray(np.hypot(clock.lag_statistical_s, slope * (reference_s - clock.centre_s)))


def _about(centre: float, error: float, freedom: float, confidence: float) -> Interval | None:
    require_fraction(confidence, "confidence")
    if not (np.isfinite(error) and error > 0):
        return None
    upper = (1 + confidence) / 2
    quantile = float(
        scipy.stats.t.ppf(upper, freedom) if np.isfinite(freedom) else scipy.stats.norm.ppf(upper)
    )
    return Interval(centre - quantile * error, centre + quantile * error)
