"""Confidence intervals of limits of agreement."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import optimize, stats

from twinangle.agreement._components import Components, Estimate
from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._quantiles import chi_square, half_width, two_sided_student
from twinangle.agreement._result import Interval


@lru_cache(maxsize=256)
def exact_limit_factors(
    n: int, *, confidence: float = 0.95, coverage: float = 0.95
) -> tuple[float, float]:
    """Return how many SD the exact interval of one limit reaches from the mean.

    Parameters
    ----------
    n : int
        Independent differences, at least 2.
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
    inner, outer = stats.nct.ppf(tails, n - 1, shift) / np.sqrt(n)
    return float(inner), float(outer)


@lru_cache(maxsize=256)
def exact_pair_factors(
    n: int, *, confidence: float = 0.95, coverage: float = 0.95
) -> tuple[float, float]:
    """Return the factors that hold for both limits at once.

    Parameters
    ----------
    n : int
        Independent differences, at least 2.
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
    .. [1] Owen (1964). Technometrics 6, 377-387. Carkeet (2015). Optom Vis Sci 92, e71-e80.
    """
    _check(n, confidence, coverage)
    z, level = half_width(coverage), (1 + confidence) / 2
    nodes, weights = np.polynomial.legendre.leggauss(400)
    spread = np.sqrt(stats.chi2.ppf((nodes + 1) / 2, n - 1) / (n - 1))

    def inside(gap: Floats) -> float:
        return float(weights @ np.maximum(2 * stats.norm.cdf(np.sqrt(n) * gap) - 1, 0)) / 2

    single = exact_limit_factors(n, confidence=confidence, coverage=coverage)
    outer = optimize.brentq(
        lambda c: inside(c * spread - z) - level, single[1] / 2, 4 * single[1], xtol=1e-10
    )
    if inside(np.full_like(spread, z)) < level:
        return 0.0, float(outer)
    inner = optimize.brentq(lambda c: inside(z - c * spread) - level, 0.0, z, xtol=1e-10)
    return float(inner), float(outer)


def participant_mean_intervals(
    parts: Components, confidence: float, z: float
) -> tuple[Interval, Interval]:
    """Return the intervals of both limits when every participant counts the same.

    Parameters
    ----------
    parts : Components
        Counts, means and variances of at least 3 participants.
    confidence : float
        Of the intervals.
    z : float
        Normal quantile of the limits.

    Returns
    -------
    lower_ci, upper_ci : tuple of float

    Notes
    -----
    d_i, s_i², n_i of k participants; S² = var(d_i), a_i = (1 - 1/n_i) s_i², W = mean(a_i),
    s² = S² + W. The variance of W is the larger of var(a_i)/k, which sees participants who differ
    in spread, and Σ 2 a_i²/(n_i - 1)/k². With e its root over W and t on k - 1 degrees of freedom,
    S² has the chi-squared interval and W the log-t interval W exp(∓ t e); the interval of s² adds
    their distances in squares [1]_. The same addition joins the half-widths of bias and z s [2]_,
    with r their correlation where skewness makes one: the correlation over participants of d_i
    with -ln s without participant i, shrunk towards 0 for the error of a correlation of k pairs::

        outer half-width = √(q² + O² + 2 r q O),  inner = √(q² + I² + 2 r q I)
        q = t S/√k,  O = z (√u - s),  I = z (s - √l)

    The combination is this package's own; `benchmarks/coverage.py` holds its proof.

    References
    ----------
    .. [1] Graybill & Wang (1980). J Am Stat Assoc 75, 869-873.
    .. [2] Zou (2013). Stat Methods Med Res 22, 630-642. Donner & Zou (2012). Stat Methods Med
       Res 21, 347-359.
    """
    half = two_sided_student(confidence, parts.k - 1) * float(
        np.sqrt(parts.spread_of_means / parts.k)
    )
    estimate, variance = parts.by_participant, variance_interval(parts, confidence)
    return join_limits(
        estimate.bias, estimate.sd, half, z, variance, _bias_spread_correlation(parts)
    )


def variance_interval(parts: Components, confidence: float) -> Interval:
    """Return the interval of the variance of a single difference, participants counting the same.

    Parameters
    ----------
    parts : Components
        Counts, means and variances of at least 2 participants.
    confidence : float
        Of the interval.

    Returns
    -------
    tuple of float
        Around S² + W, as `participant_mean_intervals` says; the lower one may be negative.
    """
    k, spread, shrunk = parts.k, parts.spread_of_means, parts.shrunk_variances
    within = float(shrunk.mean())
    free = np.maximum(parts.counts - 1, 1)
    variance = max(float(shrunk.var(ddof=1)) / k, float((2 * shrunk**2 / free).sum()) / k**2)
    t = two_sided_student(confidence, k - 1)
    error = t * float(np.sqrt(variance)) / within if within > 0 else 0.0
    low, high = chi_square_shares(k - 1, confidence)
    total = spread + within
    return (
        float(total - np.hypot(spread * low, within * -np.expm1(-error))),
        float(total + np.hypot(spread * high, within * np.expm1(min(error, 50.0)))),
    )


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
    .. [1] Zou (2013). Stat Methods Med Res 22, 630-642 (from memory; its worked example agrees).
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
    bias: float,
    sd: float,
    half: float,
    z: float,
    variance: Interval,
    correlation: float = 0.0,
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
    correlation : float, default 0
        Of the estimates of bias and of sd.

    Returns
    -------
    lower_ci, upper_ci : tuple of float
    """
    outer = z * (np.sqrt(variance[1]) - sd)
    inner = z * (sd - np.sqrt(max(variance[0], 0.0)))

    def reach(width: float, sign: float) -> float:
        squared = half**2 + width**2 + 2 * sign * correlation * half * width
        return float(np.sqrt(max(squared, 0.0)))

    low, high = bias - z * sd, bias + z * sd
    return (
        (low - reach(outer, -1), low + reach(inner, -1)),
        (high - reach(inner, 1), high + reach(outer, 1)),
    )


def _bias_spread_correlation(parts: Components) -> float:
    """Return the correlation of bias and spread that skewness brings, shrunk towards 0."""
    k, means, shrunk = parts.k, parts.means, parts.shrunk_variances
    deviation = means - means.mean()
    squares = float(deviation @ deviation) - k / (k - 1) * deviation**2
    left_out = squares / (k - 2) + (shrunk.sum() - shrunk) / (k - 1)
    if np.ptp(means) == 0 or left_out.min() <= 0:
        return 0.0
    score = -0.5 * np.log(left_out)
    if np.ptp(score) <= 1e-12 * abs(score).max():
        return 0.0
    r = float(np.corrcoef(means, score)[0, 1])
    return _shrunk_correlation(r, k)


def _shrunk_correlation(r: float, k: int) -> float:
    """Return a correlation of k pairs, shrunk towards 0 by its own standard error.

    r² less its sampling variance (1 - r²)/(k - 3), not below 0: as it stands, the noise of r
    costs a percentage point of coverage where there is no skewness.
    """
    if r == 0 or k < 4:
        return 0.0
    return float(r * np.sqrt(max(0.0, 1 - (1 - r**2) / ((k - 3) * r**2))))


def chi_square_shares(df: int, confidence: float) -> tuple[float, float]:
    """Return how far a variance's interval reaches below and above it, in its own size.

    1 - df/χ²(upper) and df/χ²(lower) - 1 on `df` degrees of freedom.
    """
    low, high = chi_square((1 - confidence) / 2, df), chi_square((1 + confidence) / 2, df)
    return float(1 - df / high), float(df / low - 1)


def _check(n: int, confidence: float, coverage: float) -> None:
    """Refuse too few differences and shares outside 0 to 1."""
    if n < 2:
        raise ValueError(f"`n` must be at least 2, got {n!r}.")
    fraction(confidence, "confidence")
    fraction(coverage, "coverage")
