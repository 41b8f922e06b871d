"""Quantiles of the usual distributions, straight from the special functions.

They give what `scipy.stats` gives, without its cost a call, which counts in simulations.
"""

from __future__ import annotations

from scipy import special


def normal(share: float) -> float:
    """Return the quantile of the standard normal distribution."""
    return float(special.ndtri(share))


def student(share: float, df: float) -> float:
    """Return the quantile of Student's t on `df` degrees of freedom."""
    return float(special.stdtrit(df, share))


def chi_square(share: float, df: float) -> float:
    """Return the quantile of chi-squared on `df` degrees of freedom."""
    return float(special.chdtri(df, 1 - share))


def half_width(coverage: float) -> float:
    """Return z, the half-width in SD that holds `coverage` of a normal distribution."""
    return normal((1 + coverage) / 2)


def two_sided_student(confidence: float, df: float) -> float:
    """Return the t that holds `confidence` between its negative and itself."""
    return student((1 + confidence) / 2, df)
