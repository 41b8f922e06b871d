"""Quantiles of the usual distributions, straight from the special functions.

They give what `scipy.stats` gives, without its cost a call, which counts in simulations.
"""

from __future__ import annotations

import scipy


def normal(share: float) -> float:
    """Return the quantile of the standard normal distribution."""
    return float(scipy.special.ndtri(share))


def student(share: float, df: float) -> float:
    """Return the quantile of Student's t on `df` degrees of freedom."""
    return float(scipy.special.stdtrit(df, share))


def chi_square(share: float, df: float) -> float:
    """Return the quantile of chi-squared on `df` degrees of freedom."""
    return float(scipy.special.chdtri(df, 1 - share))


def half_width(coverage: float) -> float:
    """Return z, the half-width in SD that holds `coverage` of a normal distribution."""
    return normal((1 + coverage) / 2)


def two_sided_student(confidence: float, df: float) -> float:
    """Return the t that holds `confidence` between its negative and itself."""
    return student((1 + confidence) / 2, df)


def chi_square_shares(df: int, confidence: float) -> tuple[float, float]:
    """Return how far a variance's interval reaches below and above it, in its own size.

    1 - df/χ²(upper) and df/χ²(lower) - 1 on `df` degrees of freedom.
    """
    low, high = chi_square((1 - confidence) / 2, df), chi_square((1 + confidence) / 2, df)
    return float(1 - df / high), float(df / low - 1)
