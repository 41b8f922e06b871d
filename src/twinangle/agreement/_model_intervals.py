"""Confidence intervals of the bias and the limits of a mixed model."""

from __future__ import annotations

import numpy as np

from twinangle.agreement._generalised import VariancePart, generalised_limits
from twinangle.agreement._input import Floats
from twinangle.agreement._people import FEWEST_PEOPLE
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._reml import NestedSums, RemlFit
from twinangle.agreement._result import Interval


def bias_half_width(fit: RemlFit, confidence: float) -> float:
    """Return the half-width of the interval of the bias.

    Parameters
    ----------
    fit : RemlFit
        The fitted model.
    confidence : float
        Of the interval.

    Returns
    -------
    float
        NaN below 3 participants.

    Notes
    -----
    With h_i the share of participant i in the bias and r_i = m_i - bias, the variance of the bias
    is Σ h_i² r_i²/(1 - h_i): free of bias where the model holds, and good where participants
    differ in spread or a variance was kept from falling below 0. Student's t has the degrees of
    freedom of that quadratic form by Satterthwaite under the model [1]_; with equal shares all
    this is Student's t of the participants' means on k - 1.

    References
    ----------
    .. [1] Bell & McCaffrey (2002). Survey Methodology 28, 169-181.
    """
    shares = fit.shares
    if shares.size < FEWEST_PEOPLE:
        return float("nan")
    weights = shares**2 / (1 - shares)
    variance = float(weights @ (fit.means - fit.bias) ** 2)
    # r_i = m_i - Σ h_j m_j, with var(m_i) proportional to 1/h_i
    residual = np.eye(shares.size) - shares
    root = np.sqrt(weights)[:, None] * residual / np.sqrt(shares)
    spread = root @ root.T
    df = float(np.trace(spread) ** 2 / np.sum(spread**2))
    return float(two_sided_student(confidence, df) * np.sqrt(variance))


def model_limits(
    sums: NestedSums, fit: RemlFit, confidence: float, z: float
) -> tuple[Interval, Interval]:
    """Return the intervals of both limits.

    Parameters
    ----------
    sums : NestedSums
        Of the differences.
    fit : RemlFit
        The model fitted to them.
    confidence : float
        Of the intervals.
    z : float
        Normal quantile of the limits.

    Returns
    -------
    lower_ci, upper_ci : tuple of float

    Notes
    -----
    sd² is the sum of what its parts would be in balanced data, S² + (M - S² + A) + (1 - 1/ñ) E:

    - S² = k var(bias), the variance of a participant's mean, on k - 1 degrees of freedom;
    - M = B + E/ñ, the variance of a unit's mean within a participant, less its part S² - A in S²,
      on units - k; ñ is the harmonic mean of the units' counts, A, B, E the variances between
      participants, between units and within;
    - (1 - 1/ñ) E, what units' means leave out, on differences - units.

    `generalised_limits` joins them. The last two parts are sums over participants; where these vary
    more than the model has it, by R - V of their total's squared size, the total errs that much
    more: `excess` = √max(R - V, 0). The combination is this package's own; `benchmarks/coverage.py`
    holds its proof.
    """
    k, total = sums.k, fit.total
    kept = min(k * fit.bias_variance, total)
    units = sums.owner.size
    harmonic = units / float(np.sum(1 / sums.counts))
    nested = fit.nested + fit.within / harmonic - (kept - fit.between) if sums.nested else 0.0
    nested = min(max(nested, 0.0), total - kept)
    parts = (
        VariancePart(nested, max(units - k, 1)),
        VariancePart(total - kept - nested, sums.n - units),
    )
    return generalised_limits(
        fit.bias,
        VariancePart(kept, k - 1),
        parts,
        _excess(sums, fit, parts),
        k,
        confidence=confidence,
        z=z,
    )


def _excess(sums: NestedSums, fit: RemlFit, parts: tuple[VariancePart, VariancePart]) -> float:
    """Return √max(R - V, 0), R and V over the square of what both parts add up to."""
    nested, within = parts
    total = nested.estimate + within.estimate
    if not total > 0:
        return 0.0
    units = np.bincount(sums.owner).astype(float)
    counts = np.bincount(sums.owner, sums.counts)
    squares = np.bincount(sums.owner, sums.squares).astype(np.float64)
    off = within.estimate * _off_share(squares, counts - units)
    if nested.estimate > 0:
        off = off + nested.estimate * _off_share(fit.unit_squares, units - 1)
    seen = sums.k / (sums.k - 1) * float(off @ off)
    expected = sum(2 * part.estimate**2 / part.df for part in parts)
    return float(np.sqrt(max(seen - expected, 0.0)) / total)


def _off_share(squares: Floats, free: Floats) -> Floats:
    """Return how far each participant's share of the squares is from that of its freedom."""
    whole = float(squares.sum())
    found: Floats = squares / whole - free / free.sum() if whole > 0 else np.zeros_like(squares)
    return found
