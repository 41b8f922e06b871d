"""Confidence intervals of lag and drift."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm, t

from twinangle.signals.recording import Interval, Synchronisation


def lag_interval(
    clock: Synchronisation, *, confidence: float = 0.95, systematic: bool = True
) -> Interval | None:
    """Return the confidence interval of the lag at the middle of the overlap, in seconds.

    lag ± t_ν √(SE² + systematic²), with t_ν the quantile of Student's t for the error's degrees of
    freedom (:func:`twinangle.clocks.clustered.clustered_errors`), the normal quantile where
    they are not known.

    Parameters
    ----------
    clock : Synchronisation
        As found by any method.
    confidence : float
        Share of intervals that hold the true lag, between 0 and 1.
    systematic : bool
        Add the part that a difference repeating every stride may cause, where it is known.
        Without it the interval is statistical only and may miss by that part.

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
    if systematic and np.isfinite(clock.lag_systematic_s):
        error = float(np.hypot(error, clock.lag_systematic_s))
    return _about(lag, error, clock.centre_lag_df, confidence)


def drift_interval(clock: Synchronisation, *, confidence: float = 0.95) -> Interval | None:
    """Return the confidence interval of the drift, in parts per million.

    Parameters
    ----------
    clock : Synchronisation
        As found by any method.
    confidence : float
        Share of intervals that hold the true drift, between 0 and 1.

    Returns
    -------
    Interval or None
        None where the drift was not estimated.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    return _about(clock.drift_ppm, clock.drift_se_ppm, clock.drift_df, confidence)


def _about(centre: float, error: float, freedom: float, confidence: float) -> Interval | None:
    if not 0 < confidence < 1:
        raise ValueError(f"`confidence` must lie between 0 and 1, got {confidence!r}.")
    if not (np.isfinite(error) and error > 0):
        return None
    upper = (1 + confidence) / 2
    quantile = float(t.ppf(upper, freedom) if np.isfinite(freedom) else norm.ppf(upper))
    return Interval(centre - quantile * error, centre + quantile * error)
