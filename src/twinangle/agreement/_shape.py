"""Whether participants' differences look normal, and what to say of it beside the limits."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.agreement._components import Components
from twinangle.agreement._input import Floats
from twinangle.agreement._participants import moments
from twinangle.agreement._result import p_words, quantity
from twinangle.agreement.percentiles import percentile_limits

FEWEST_FOR_SHAPE = 5
FEWEST_FOR_SILENCE = 20  # below, most samples of a wrong shape are not noticed
FALSE_ALARMS = 0.05


def serial_correlation(values: Floats, parts: Components) -> float:
    """Return the mean over participants of the lag-1 autocorrelation; NaN without 5 pairs each."""
    found = []
    for code in np.flatnonzero(parts.counts >= 5):
        own = values[parts.codes == code]
        own = own - own.mean()
        if own.any():
            found.append(float(own[1:] @ own[:-1]) / float(own @ own) + 1 / own.size)
    return float(np.mean(found)) if found else float("nan")


def compared_values(values: Floats, parts: Components) -> Floats:
    """Return independent values of one spread whose shape is that of the differences.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Differences, those of a participant in the order measured.
    parts : Components
        Their counts, means and variances.

    Returns
    -------
    ndarray, shape (k,), or (n - 1,) for one participant
        One pair a participant: the differences. Several: the participants' means, standardised,
        (d_i - m)/√(B + v_i), because means of few or of unsteady cycles scatter more and would
        look like heavy tails; v_i = s_i²/n_i (1 + p)/(1 - p), p the serial correlation, and B the
        variance between participants for which the squares add up to k - 1 [1]_. One participant:
        what each difference has beyond p times the one before.

    References
    ----------
    .. [1] Paule & Mandel (1982). J Res Natl Bur Stand 87, 377-385 (from memory).
    """
    serial = np.nan_to_num(serial_correlation(values, parts))
    if parts.k == 1:
        rest: Floats = values[1:] - serial * values[:-1]
        return rest
    repeated = parts.counts > 1
    if not repeated.any():
        return parts.means
    serial = np.clip(serial, 0, 0.9)
    within = np.where(repeated, parts.variances, parts.variances[repeated].mean())
    error = within / parts.counts * (1 + serial) / (1 - serial)
    return _standardised(parts.means, error) if (error > 0).all() else parts.means


def _standardised(means: Floats, error: Floats) -> Floats:
    """Return means by their own errors and a common variance after Paule and Mandel."""

    def scaled(between: float) -> Floats:
        weights = 1 / (between + error)
        found: Floats = (means - weights @ means / weights.sum()) * np.sqrt(weights)
        return found

    def excess(between: float) -> float:
        return float(np.square(scaled(between)).sum()) - (means.size - 1)

    if excess(0.0) <= 0:
        return scaled(0.0)
    # with the largest value for B alone every weight is too small
    most = float(np.square(means - means.mean()).sum())
    return scaled(float(scipy.optimize.brentq(excess, 0.0, most)))


def normality_p(compared: Floats) -> float:
    """Return the p value of Shapiro and Wilk's test; NaN below 5 values or where all are equal.

    Parameters
    ----------
    compared : ndarray, shape (n,)
        As `compared_values` gives them.

    Returns
    -------
    float
    """
    if compared.size < FEWEST_FOR_SHAPE or np.ptp(compared) <= 1e-12 * np.abs(compared).max():
        return float("nan")
    return float(scipy.stats.shapiro(compared).pvalue)


def shape_notes(values: Floats, parts: Components, confidence: float) -> tuple[str, ...]:
    """Return a warning where the differences are further from normal than chance makes them.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Differences, those of a participant in the order measured.
    parts : Components
        Their counts, means and variances.
    confidence : float
        Of the intervals of percentiles, which are named where they have both ends.

    Returns
    -------
    tuple of str
    """
    compared = compared_values(values, parts)
    p_value = normality_p(compared)
    if not p_value < FALSE_ALARMS:  # false with NaN
        return ()
    _, skewness, kurtosis = moments(compared)
    whose = "This participant's" if parts.k == 1 else "The participants'"
    return (
        (
            f"{whose} differences are further from normal than chance makes 95 of 100 normal "
            f"samples of this size (Shapiro-Wilk, {p_words(p_value)}; skewness "
            f"{quantity(float(skewness), '')}, excess kurtosis {quantity(float(kurtosis), '')}): "
            "the intervals of the limits cover less than nominal, and bias ∓ 1.96 SD are not "
            f"percentiles. {_remedy(values, parts, confidence)}"
        ),
    )


def _remedy(values: Floats, parts: Components, confidence: float) -> str:
    """Name percentile limits only where this many participants give them both ends."""
    look = "Look at the plot: one outlying participant, or a difference that follows the size?"
    if parts.k == 1:
        return look
    ranks = percentile_limits(values, parts.codes, confidence=confidence)
    if not np.isfinite([*ranks.lower_ci, *ranks.upper_ci]).all():
        return look
    return f"{look} Percentile limits are defined here and assume no shape."


def shape_assumptions(k: int) -> tuple[str, ...]:
    """Return what silence about the shape of this many participants' differences is worth."""
    if k >= FEWEST_FOR_SILENCE:
        return ()
    return (
        (
            f"{k} participants are too few to show whether differences are normal: that no warning "
            "of their shape is given means nothing."
        ),
    )
