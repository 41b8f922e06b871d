"""Limits of agreement of many quantities at once, over the same participants and pairs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._intervals import chi_square_shares, exact_limit_factors
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement.limits import FEWEST_PARTICIPANTS


def limits_of_many(
    differences: ArrayLike,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
) -> pd.DataFrame:
    """Estimate the limits of agreement of many quantities in one pass.

    Parameters
    ----------
    differences : array_like of float, shape (n, n_quantities)
        Test minus reference, one row a pair, one column a quantity (or a point of the cycle).
    participant : array_like, shape (n,), optional
        Whose each row is; None: one pair a participant.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.

    Returns
    -------
    DataFrame
        One row a quantity: what `limits_of_agreement` (form "participant-means") gives for each
        column by itself, to rounding. The intervals hold for each quantity, not for all at once.

    Raises
    ------
    ValueError
        If there are fewer than 4 participants, a value is missing or infinite, or the lengths
        differ.
    """
    values = finite_array(differences, "differences", ndim=2, min_rows=2)
    confidence, coverage = fraction(confidence, "confidence"), fraction(coverage, "coverage")
    parts = variance_components(values[:, 0], participant)
    if parts.k < FEWEST_PARTICIPANTS:
        raise ValueError(f"at least {FEWEST_PARTICIPANTS} participants are needed, got {parts.k}.")
    means, shrunk = _by_participant(values, parts)
    bias, spread = means.mean(axis=0), means.var(axis=0, ddof=1)
    sd, z = np.sqrt(spread + shrunk.mean(axis=0)), half_width(coverage)
    half = two_sided_student(confidence, parts.k - 1) * np.sqrt(spread / parts.k)
    if np.all(parts.counts == 1):
        inner, outer = exact_limit_factors(parts.k, confidence=confidence, coverage=coverage)
        bounds = (-outer * sd, -inner * sd, inner * sd, outer * sd)
    else:
        bounds = _bounds(means, shrunk, parts, half, confidence, z)
    frame = {"bias": bias, "bias_ci_low": bias - half, "bias_ci_high": bias + half, "sd": sd}
    frame |= {"lower": bias - z * sd, "upper": bias + z * sd}
    names = ("lower_ci_low", "lower_ci_high", "upper_ci_low", "upper_ci_high")
    return pd.DataFrame(frame | {name: bias + b for name, b in zip(names, bounds, strict=True)})


def _by_participant(values: Floats, parts: Components) -> tuple[Floats, Floats]:
    """Return means and (1 - 1/n_i) s_i² of each participant and quantity."""
    order = np.argsort(parts.codes, kind="stable")
    starts = np.concatenate([[0], np.cumsum(parts.counts)[:-1]])
    counts = parts.counts[:, None]
    means = np.add.reduceat(values[order], starts, axis=0) / counts
    deviation = values[order] - np.repeat(means, parts.counts, axis=0)
    squares = np.add.reduceat(deviation**2, starts, axis=0)
    return means, squares / counts * np.where(counts > 1, 1, 0)


def _bounds(
    means: Floats, shrunk: Floats, parts: Components, half: Floats, confidence: float, z: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the bounds of both limits about the bias, as `participant_mean_intervals`."""
    k, free = parts.k, np.maximum(parts.counts - 1, 1)[:, None]
    spread, within = means.var(axis=0, ddof=1), shrunk.mean(axis=0)
    variance = np.maximum(shrunk.var(axis=0, ddof=1) / k, (2 * shrunk**2 / free).sum(axis=0) / k**2)
    t = two_sided_student(confidence, k - 1)
    error = t * np.sqrt(variance) / np.where(within > 0, within, 1)
    low, high = chi_square_shares(k - 1, confidence)
    sd = np.sqrt(spread + within)
    above = np.hypot(spread * high, within * np.expm1(np.minimum(error, 50)))
    below = np.hypot(spread * low, within * -np.expm1(-error))
    outer = z * (np.sqrt(sd**2 + above) - sd)
    inner = z * (sd - np.sqrt(np.maximum(sd**2 - below, 0)))
    r = _correlations(means, shrunk)

    def reach(width: Floats, sign: float) -> Floats:
        total: Floats = np.sqrt(np.maximum(half**2 + width**2 + 2 * sign * r * half * width, 0))
        return total

    return (
        -z * sd - reach(outer, -1),
        -z * sd + reach(inner, -1),
        z * sd - reach(inner, 1),
        z * sd + reach(outer, 1),
    )


def _correlations(means: Floats, shrunk: Floats) -> Floats:
    """Return the shrunk correlation of bias and spread of each quantity."""
    k = means.shape[0]
    deviation = means - means.mean(axis=0)
    squares = (deviation**2).sum(axis=0) - k / (k - 1) * deviation**2
    left_out = squares / (k - 2) + (shrunk.sum(axis=0) - shrunk) / (k - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        score = -0.5 * np.log(left_out)
        score = score - score.mean(axis=0)
        r = (deviation * score).sum(axis=0)
        r = r / np.sqrt((deviation**2).sum(axis=0) * (score**2).sum(axis=0))
        share = 1 - (1 - r**2) / ((k - 3) * r**2)
    shrunk_r: Floats = np.where(share > 0, r * np.sqrt(np.maximum(share, 0)), 0.0)
    return np.where(np.isfinite(shrunk_r), shrunk_r, 0.0)
