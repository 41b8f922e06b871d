"""How far the difference of two conditions' standard deviations (SDs) reaches either way."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from twinangle.agreement._input import Floats

_STEPS = 6  # of the search; the ends move by less than 1e-4 of the width after four
_STEP = 1e-4  # of the parameters, for the slope of a smooth function
_FLAT = 1e-300  # steepness at which there is no way up

Levels = Callable[[Floats], Floats]
"""Both conditions' SDs, shape (2, ...), from the logarithms of their raw means and Fisher's z of
their serial correlations, shape (4, ...)."""


def difference_reach(
    levels: Levels, whole: Floats, left_out: Floats, t: float
) -> tuple[Floats, Floats]:
    """Return how far the difference of two SDs reaches below and above its estimate.

    Parameters
    ----------
    levels : callable
        Both SDs from the four parameters; the SD of a condition depends on its own two only.
    whole : ndarray, shape (4, ...)
        The parameters from everyone.
    left_out : ndarray, shape (k, 4, ...)
        The same without one participant at a time.
    t : float
        Student's quantile.

    Returns
    -------
    below, above : ndarray, shape (...)
        Not negative; NaN where a parameter is not finite.

    Notes
    -----
    The logarithm of a mean SD and Fisher's z of a correlation are close to normal, their
    difference after the correction for few correlated cycles is not: its distribution has a long
    tail upwards where the condition with few cycles is the one compared. So the interval is the
    range of the difference over the ellipsoid of parameters whose covariance is the jackknife's
    and whose radius is t [1]_; for a difference linear in them it is Student's interval. The
    participants' pseudo-values z_i of the parameters give x = whole + t/√(k(k - 1)) Σ u_i z_i,
    and the largest difference over |u| = 1 is found by u = the slope's direction, repeated.

    References
    ----------
    .. [1] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife). The
       range over the ellipsoid is this package's own use; it has been checked by simulation.
    """
    k = left_out.shape[0]
    pseudo = -(k - 1) * (left_out - left_out.mean(axis=0))
    axes = np.moveaxis(pseudo, 0, 1) * t / np.sqrt(k * (k - 1))  # (4, k, ...)
    start = _difference(levels(whole))
    below = _farthest(levels, whole, axes, -1.0)
    above = _farthest(levels, whole, axes, 1.0)
    return start - below, above - start


def _difference(both: Floats) -> Floats:
    found: Floats = both[1] - both[0]
    return found


def _farthest(levels: Levels, whole: Floats, axes: Floats, side: float) -> Floats:
    """Return the largest (side 1) or smallest (side -1) difference over the ellipsoid."""
    farthest = _difference(levels(whole))
    at = whole
    for _ in range(_STEPS):
        uphill = side * (_slope(levels, at)[:, None] * axes).sum(axis=0)
        steepness = np.sqrt((uphill**2).sum(axis=0))
        at = whole + (axes * uphill).sum(axis=1) / np.maximum(steepness, _FLAT)
        farthest = side * np.maximum(side * farthest, side * _difference(levels(at)))
    return farthest


def _slope(levels: Levels, at: Floats) -> Floats:
    """Return the slope of the difference by each parameter."""
    moved = np.zeros_like(at)
    moved[2:] = _STEP
    by_serial = (levels(at + moved) - levels(at - moved)) / (2 * _STEP)
    signs = np.array([-1.0, 1.0]).reshape(2, *[1] * (at.ndim - 1))
    return np.concatenate([signs * levels(at), signs * by_serial])
