"""Intervals over the cycles of one participant: jackknife, with serially correlated cycles."""

from __future__ import annotations

import numpy as np

from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.agreement._serial import serial_values

_MOST_SERIAL = 0.9  # an estimate above it says only that the cycles hardly differ in kind
_MOST_OF_SPREAD = 0.7  # for a variance, where a larger one makes it boundless
_ENOUGH = 20  # cycles from which the intervals hold what they say up to a correlation of 0.7


def serial_correlation(values: Floats, *, corrected: bool = False) -> float:
    """Return the lag-1 autocorrelation over cycles, not below 0.

    Parameters
    ----------
    values : ndarray, shape (n_cycles,) or (n_cycles, n_points)
        In the order measured; points are pooled.
    corrected : bool, default False
        Take the whole of its small-sample bias out, not only the part that is there without any
        correlation.

    Returns
    -------
    float
        Sample autocorrelation r, plus 1/n; corrected, (r + 1/n)/(1 - 4/n), at most 0.9.

    References
    ----------
    .. [1] Marriott & Pope (1954). Biometrika 41, 390-402: E(r) is p - (1 + 4 p)/n in a
       first-order process whose mean is estimated.
    """
    n = values.shape[0]
    centred = values - values.mean(axis=0)
    total = float((centred**2).sum())
    if total == 0:
        return 0.0
    lagged = float((centred[1:] * centred[:-1]).sum()) / total + 1 / n
    if corrected and n > 4:
        lagged = min(lagged / (1 - 4 / n), _MOST_SERIAL)
    return float(max(lagged, 0.0))


def effective_cycles(n: int, correlation: float) -> float:
    """Return the independent cycles that `n` serially correlated ones are worth for a mean."""
    return n * (1 - correlation) / (1 + correlation)


def few_cycles(n: int) -> tuple[str, ...]:
    """Return what is to be said of intervals over so few cycles, nothing from 20 on."""
    if not 3 <= n < _ENOUGH:
        return ()
    return (
        (
            f"{n} cycles cannot show how much neighbouring cycles resemble each other: intervals "
            "over them hold what they say up to a serial correlation of about "
            f"{0.5 if n >= 10 else 0.3} and less beyond: a 95 % interval about 92 % with 10 cycles "
            "at 0.7, or 6 at 0.5 (simulated)."
        ),
    )


def pseudo_interval(
    estimate: float, left_out: Floats, confidence: float, *, unbiased: bool = False
) -> Interval:
    """Return the jackknife interval of a statistic of one participant's cycles.

    Parameters
    ----------
    estimate : float
        From all n cycles.
    left_out : ndarray, shape (n,)
        From all but each cycle in turn, in the order measured.
    confidence : float
        Of the interval.
    unbiased : bool, default False
        Centre it on the jackknife's estimate, which is free of the bias of order 1/n, instead of
        `estimate`.

    Returns
    -------
    tuple of float
        NaN below 3 cycles, or where a value is not finite.

    Notes
    -----
    Pseudo-values n T - (n - 1) T_(i) stand for the cycles: the half-width is that of their mean,
    Student's t averaged over the serial correlations they may have (`serial_values`).

    References
    ----------
    .. [1] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    """
    n = left_out.size
    pseudo = n * estimate - (n - 1) * left_out
    if n < 3 or not np.isfinite(pseudo).all():
        return NO_INTERVAL
    return mean_interval(pseudo, confidence, centre=None if unbiased else estimate)


def mean_interval(values: Floats, confidence: float, centre: float | None = None) -> Interval:
    """Return the interval of the mean of serially correlated values, at least 3."""
    known = serial_values(values)
    middle, half = known.mean if centre is None else centre, known.half(confidence)
    return middle - half, middle + half


def spread_interval(value: float, left_out: Floats, curves: Floats, confidence: float) -> Interval:
    """Return the jackknife interval of a variance, on the scale of its logarithm.

    Parameters
    ----------
    value : float
        From all cycles.
    left_out : ndarray, shape (n_blocks,)
        From all but each cycle (or block of cycles) in turn.
    curves : ndarray, shape (n_cycles, n_points)
        Whose variance it is, in the order measured.
    confidence : float
        Of the interval.

    Returns
    -------
    tuple of float
        NaN where nothing varies.

    Notes
    -----
    Student's t on n_e - 1 degrees of freedom (at least 1), n_e = n (1 - p²)/(1 + p²) of n blocks:
    squares of values with serial correlation p are correlated as p². p is that of the curves,
    freed of its small-sample bias and at most 0.7.
    """
    if value <= 0 or left_out.min() <= 0:
        return NO_INTERVAL
    serial = min(serial_correlation(curves, corrected=True), _MOST_OF_SPREAD)
    counted = effective_cycles(left_out.size, serial**2)
    spread = (left_out.size - 1) * float(np.log(left_out).std(ddof=1))
    half = two_sided_student(confidence, max(counted - 1, 1)) * spread / np.sqrt(counted)
    return float(value * np.exp(-half)), float(value * np.exp(half))
