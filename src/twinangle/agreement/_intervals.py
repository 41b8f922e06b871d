"""Confidence intervals of limits of agreement."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy

from twinangle.agreement._components import Components, Estimate
from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._quantiles import chi_square_shares, half_width
from twinangle.agreement._result import Interval


@lru_cache(maxsize=256)
def exact_limit_factors(
    n: float, *, confidence: float = 0.95, coverage: float = 0.95
) -> tuple[float, float]:
    """Return how many SD the exact interval of one limit reaches from the mean.

    Parameters
    ----------
    n : float
        Independent differences, at least 2; not whole where dependent ones were counted as fewer.
    confidence, coverage : float, default 0.95
        Of the interval, and of the limits.

    Returns
    -------
    inner, outer : float
        The upper limit lies in (mean + inner SD, mean + outer SD) with the confidence; the lower
        limit mirrored.

    Raises
    ------
    ValueError
        If `n` is below 2 or a share is not between 0 and 1.

    Notes
    -----
    (limit - mean)/SD √n is noncentral t on n - 1 degrees of freedom about z √n, so the factors
    are its quantiles over √n.

    References
    ----------
    .. [1] Carkeet (2015). Optom Vis Sci 92, e71-e80. Shieh (2018). BMC Med Res Methodol 18, 45.
    """
    _check(n, confidence, coverage)
    shift = half_width(coverage) * np.sqrt(n)
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    inner, outer = scipy.stats.nct.ppf(tails, n - 1, shift) / np.sqrt(n)
    return float(inner), float(outer)


@lru_cache(maxsize=256)
def exact_pair_factors(
    n: float, *, confidence: float = 0.95, coverage: float = 0.95
) -> tuple[float, float]:
    """Return the factors that hold for both limits at once.

    Parameters
    ----------
    n : float
        Independent differences, at least 2; not whole where dependent ones were counted as fewer.
    confidence, coverage : float, default 0.95
        Of the intervals together, and of the limits.

    Returns
    -------
    inner, outer : float
        Both limits lie inside mean ∓ outer SD with probability (1 + confidence)/2, and both
        outside mean ∓ inner SD with the same; `inner` is 0 where no positive one exists.

    Raises
    ------
    ValueError
        If `n` is below 2 or a share is not between 0 and 1.

    Notes
    -----
    Given the SD, both limits lie inside when abs(mean - μ) < outer SD - z σ; the probability is
    averaged over the chi distribution of the SD (the tolerance interval that controls both tails)
    and solved for the factor; the inner one likewise.

    References
    ----------
    .. [1] Owen (1964, from memory). Technometrics 6, 377-387. Carkeet (2015). Optom Vis
       Sci 92, e71-e80.
    """
    _check(n, confidence, coverage)
    z, level = half_width(coverage), (1 + confidence) / 2
    nodes, weights = np.polynomial.legendre.leggauss(400)
    spread = np.sqrt(scipy.stats.chi2.ppf((nodes + 1) / 2, n - 1) / (n - 1))

    def inside(gap: Floats) -> float:
        return float(weights @ np.maximum(2 * scipy.stats.norm.cdf(np.sqrt(n) * gap) - 1, 0)) / 2

    single = exact_limit_factors(n, confidence=confidence, coverage=coverage)
    outer = scipy.optimize.brentq(
        lambda c: inside(c * spread - z) - level, single[1] / 2, 4 * single[1], xtol=1e-10
    )
    if inside(np.full_like(spread, z)) < level:
        return 0.0, float(outer)
    inner = scipy.optimize.brentq(lambda c: inside(z - c * spread) - level, 0.0, z, xtol=1e-10)
    return float(inner), float(outer)


def recovered_variance_intervals(
    parts: Components, estimate: Estimate, bias_half: float, confidence: float, z: float
) -> tuple[Interval, Interval]:
    """Return MOVER intervals of both limits, the within-participant variance pooled.

    Parameters
    ----------
    parts : Components
        Counts, means and variances of at least 2 participants.
    estimate : Estimate
        Bias and variances whose limits these are.
    bias_half : float
        Half-width of the interval of the bias.
    confidence : float
        Of the intervals.
    z : float
        Normal quantile of the limits.

    Returns
    -------
    lower_ci, upper_ci : tuple of float

    Notes
    -----
    sd² = A + B with B the part of the pooled within-participant variance that the participants'
    means leave out (N - k degrees of freedom) and A the rest (k - 1). Each has its chi-squared
    interval; distances are added in squares, for sd² and again for bias ∓ z sd [1]_.

    References
    ----------
    .. [1] Zou (2013). Stat Methods Med Res 22, 630-642 (the formula from memory; no printed value
       of it was seen).
    """
    rest = estimate.sd**2 - estimate.kept
    n_free = int(parts.counts.sum()) - parts.k
    low_a, high_a = chi_square_shares(parts.k - 1, confidence)
    low_b, high_b = chi_square_shares(n_free, confidence)
    total = estimate.sd**2
    bounds = (
        total - np.hypot(rest * low_b, estimate.kept * low_a),
        total + np.hypot(rest * high_b, estimate.kept * high_a),
    )
    return join_limits(estimate.bias, estimate.sd, bias_half, z, bounds)


def join_limits(
    bias: float, sd: float, half: float, z: float, variance: Interval
) -> tuple[Interval, Interval]:
    """Join the intervals of bias and of z SD into those of the lower and the upper limit.

    Parameters
    ----------
    bias, sd : float
        Estimates.
    half : float
        Half-width of the interval of the bias.
    z : float
        Half-width of the limits in SD.
    variance : tuple of float
        Interval of sd².

    Returns
    -------
    lower_ci, upper_ci : tuple of float
    """
    outer = float(np.hypot(half, z * (np.sqrt(variance[1]) - sd)))
    inner = float(np.hypot(half, z * (sd - np.sqrt(max(variance[0], 0.0)))))
    low, high = bias - z * sd, bias + z * sd
    return (low - outer, low + inner), (high - inner, high + outer)


def _check(n: float, confidence: float, coverage: float) -> None:
    """Refuse too few differences and shares outside 0 to 1."""
    if n < 2:
        raise ValueError(f"`n` must be at least 2, got {n!r}.")
    fraction(confidence, "confidence")
    fraction(coverage, "coverage")
