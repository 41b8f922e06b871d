"""Limits of agreement of many quantities at once, over the same participants and pairs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._participants import limits_over_participants
from twinangle.agreement._quantiles import half_width
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
    z = half_width(coverage)
    found = limits_over_participants(means, shrunk, confidence, z)
    bias, sd, half = found.bias, found.sd, found.half
    bounds = (found.lower_low, found.lower_high, found.upper_low, found.upper_high)
    if np.all(parts.counts == 1):
        inner, outer = exact_limit_factors(parts.k, confidence=confidence, coverage=coverage)
        bounds = (bias - outer * sd, bias - inner * sd, bias + inner * sd, bias + outer * sd)
    frame = {"bias": bias, "bias_ci_low": bias - half, "bias_ci_high": bias + half, "sd": sd}
    frame |= {"lower": bias - z * sd, "upper": bias + z * sd}
    names = ("lower_ci_low", "lower_ci_high", "upper_ci_low", "upper_ci_high")
    return pd.DataFrame(frame | dict(zip(names, bounds, strict=True)))


def _by_participant(values: Floats, parts: Components) -> tuple[Floats, Floats]:
    """Return means and (1 - 1/n_i) s_i² of each participant and quantity."""
    order = np.argsort(parts.codes, kind="stable")
    starts = np.concatenate([[0], np.cumsum(parts.counts)[:-1]])
    counts = parts.counts[:, None]
    means = np.add.reduceat(values[order], starts, axis=0) / counts
    deviation = values[order] - np.repeat(means, parts.counts, axis=0)
    squares = np.add.reduceat(deviation**2, starts, axis=0)
    return means, squares / counts * np.where(counts > 1, 1, 0)
