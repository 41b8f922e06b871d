"""Intervals, at a given size, of a bias and of limits that follow the size."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import half_width, two_sided_student

# of the mean spread: the least a fitted spread counts as, where it weighs points and at a size
_LEAST, _LEAST_AT = 0.2, 0.1
_FEWEST_FREE = 2.0  # degrees of freedom below which a spread has no upper bound worth giving
_FOLDED = np.pi / 2 - 1  # variance of |e| √(π/2) of a normal e, in its variance


def line_bands(
    size: Floats,
    difference: Floats,
    where: Floats,
    *,
    constant_spread: bool,
    confidence: float,
    coverage: float,
) -> dict[str, Floats]:
    """Return bounds of the bias and of both limits at sizes, for many studies at once.

    Parameters
    ----------
    size, difference : (..., n) array
        One pair a participant; n at least 4.
    where : (..., m) array
        Sizes at which the bounds are wanted.
    constant_spread : bool
        One standard deviation at every size, or a line.
    confidence, coverage : float
        Of the intervals and of the limits.

    Returns
    -------
    dict of (..., m) array
        `bias_ci_low` to `upper_ci_high`; the outer bound of a limit is infinite where its spread
        has fewer than 2 degrees of freedom.

    Notes
    -----
    With weights w_i = 1/n + (x - mean A)(A_i - mean A)/S_AA the bias at x is b(x) = Σ w_i D_i, and
    its variance Σ w_i² σ_i². With one σ that is σ² h, h = Σ w_i², so that b(x) ± t(n - 2) s √h is
    the usual confidence band at one size [1]_, and a limit β(x) ± z σ has the exact interval
    b(x) ± s √h t', t' the quantiles of the noncentral t on n - 2 degrees of freedom about z/√h
    [2]_. With a line for σ, s is the line's value at x through √(π/2) |r_i|/√(1 - h_i), the
    residuals freed of what the fit takes from them; h becomes Σ w_i² σ_i²/s² with σ_i from the same
    line, and the degrees of freedom are those of a chi with the relative variance of s,
    (π/2 - 1) h, after Satterthwaite, times (n - 2)/n for the fitted line. A line that falls below a
    tenth of the mean spread counts as that there. No limit is taken to lie on the other side of
    the bias's own interval.

    References
    ----------
    .. [1] Draper & Smith (1998). Applied Regression Analysis, 3rd ed. Wiley, section 3.1. Form of
       the limits: Bland & Altman (1999). Stat Methods Med Res 8, 135-160, section 3.2.
    .. [2] Krishnamoorthy & Mathew (2009). Statistical Tolerance Regions. Wiley, chapter 3 (from
       memory); with no slope it is Carkeet's (2015) interval. The form for a changing spread is
       our own, judged by `benchmarks/coverage.py`.
    """
    n = size.shape[-1]
    weights, leverage = _weights(size, where), _weights(size, size)
    own = np.diagonal(leverage, axis1=-2, axis2=-1)
    residual = difference - np.einsum("...ij,...j->...i", leverage, difference)
    bias = np.einsum("...ij,...j->...i", weights, difference)
    if constant_spread:
        spread = np.sqrt((residual**2).sum(axis=-1, keepdims=True) / (n - 2))
        ratio = (weights**2).sum(axis=-1)
        free = np.full_like(ratio, n - 2.0)
    else:
        folded = np.abs(residual) * np.sqrt(np.pi / 2 / np.maximum(1 - own, 1e-9))
        spread = np.einsum("...ij,...j->...i", weights, folded)
        mean = folded.mean(axis=-1, keepdims=True)
        spread = np.maximum(spread, _LEAST_AT * mean)
        fitted = np.einsum("...ij,...j->...i", leverage, folded)
        fitted = np.maximum(fitted, _LEAST * mean)
        fitted = np.where(mean > 0, fitted / np.where(mean > 0, mean, 1), 1)
        relative = np.where(mean > 0, spread / np.where(mean > 0, mean, 1), 1)
        ratio = (weights**2 * fitted[..., None, :] ** 2).sum(axis=-1) / relative**2
        free = (n - 2) / n / (2 * _FOLDED * ratio)
    error = spread * np.sqrt(ratio)
    return _bounds(bias, error, ratio, free, two_sided_student(confidence, n - 2),
                   confidence, half_width(coverage))  # fmt: skip


def _weights(size: Floats, where: Floats) -> Floats:
    """Return (..., m, n) weights of the n differences in the line's value at m sizes."""
    apart = size - size.mean(axis=-1, keepdims=True)
    reach = where - size.mean(axis=-1, keepdims=True)
    slope = apart / (apart**2).sum(axis=-1, keepdims=True)
    return np.asarray(1 / size.shape[-1] + reach[..., :, None] * slope[..., None, :])


def _bounds(
    bias: Floats, error: Floats, ratio: Floats, free: Floats, t: float, confidence: float, z: float
) -> dict[str, Floats]:
    """Return the bounds from the bias, its standard error over participants, and its freedom."""
    about = z / np.sqrt(ratio)
    known = free >= _FEWEST_FREE
    free = np.where(known, free, _FEWEST_FREE)
    low = scipy.special.nctdtrit(free, about, (1 - confidence) / 2)
    high = scipy.special.nctdtrit(free, about, (1 + confidence) / 2)
    inner = np.where(known, np.maximum(low, -t), -t) * error
    outer = np.where(known, high * error, np.inf)
    return {
        "bias_ci_low": bias - t * error,
        "bias_ci_high": bias + t * error,
        "lower_ci_low": bias - outer,
        "lower_ci_high": bias - inner,
        "upper_ci_low": bias + inner,
        "upper_ci_high": bias + outer,
    }
