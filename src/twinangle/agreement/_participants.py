"""Limits of agreement and their intervals from participants' means and variances, on arrays.

The first axis is the participants; further axes are quantities, or simulated studies, each by
itself. One limit of one study and a thousand of them go through the same lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import chi_square_shares, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval

_MOST_WIDENING = 2.0  # of the variance of W by the logarithms, against its sample variance


@dataclass(frozen=True, slots=True, eq=False)
class ParticipantLimits:
    """Bias, spread, limits and their bounds; each of the shape of the quantities.

    `half` is the half-width of the interval of the bias; `lower_low` to `upper_high` are the
    bounds of both limits.
    """

    bias: Floats
    half: Floats
    sd: Floats
    lower_low: Floats
    lower_high: Floats
    upper_low: Floats
    upper_high: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Distances:
    """How far the interval of a variance reaches one way: by the means, by the rest."""

    means: Floats
    rest: Floats

    @property
    def joined(self) -> Floats:
        """Distances added in squares."""
        total: Floats = np.hypot(self.means, self.rest)
        return total


def limits_over_participants(
    means: Floats, shrunk: Floats, confidence: float, z: float, known: float = 0.0
) -> ParticipantLimits:
    """Return limits and their intervals, every participant counting the same.

    Parameters
    ----------
    means : ndarray, shape (k, ...)
        d_i, the mean difference of each participant, k at least 4.
    shrunk : ndarray, shape (k, ...)
        a_i = (1 - 1/n_i) s_i², with s_i² the variance of that participant's n_i differences.
    confidence : float
        Of the intervals.
    z : float
        Normal quantile of the limits.
    known : float, default 0
        A variance known without error that is taken out of sd² and of its interval.

    Returns
    -------
    ParticipantLimits

    Notes
    -----
    S² = var(d_i), W = mean(a_i), sd² = S² + W - known. S² has its chi-squared interval on k - 1
    degrees of freedom. W has the interval W exp(∓ t e), t Student's on k - 1: it is a mean over
    participants, who may differ in spread, and the logarithm makes its error symmetrical. e² lies
    between R = var(a_i)/(k W²) and 2 R; between these it is that of a mean of log-normal values
    [1]_, v/k + v²/(2 (k - 1)) with v = var(ln a_i), because R is too small in the very studies
    whose W is too small. The distances of both intervals are added in squares [2]_, which gives
    that of sd², (l, u). The addition again joins bias and z sd [3]_, with r the correlation of
    the two that skewness brings: over participants, of d_i with -ln sd without participant i,
    shrunk towards 0 for its own error::

        outer half-width = f √(q² + O² + 2 r q O),  inner = f √(q² + I² + 2 r q I)
        q = t S/√k,  O = z (√u - sd),  I = z (sd - √l)

    q and the part of O (or I) that S² brings rest on the same k - 1 degrees of freedom, the part
    that W brings on others; with x² and y² these two parts of the sum of squares, f = t(g)/t(k-1)
    for g = (k - 1) (x² + y²)²/(x⁴ + y⁴) degrees of freedom [4]_. Without f the interval is too
    wide where cycles vary more than a few people do.

    The combination is this package's own; `benchmarks/coverage.py` holds its proof. Copies of a
    participant's cycles change neither d_i nor a_i, so they change no interval.

    References
    ----------
    .. [1] Zhou & Gao (1997). Stat Med 16, 783-790 (Cox's method).
    .. [2] Graybill & Wang (1980). J Am Stat Assoc 75, 869-873.
    .. [3] Zou (2013). Stat Methods Med Res 22, 630-642. Donner & Zou (2012). Stat Methods Med
       Res 21, 347-359.
    .. [4] Satterthwaite (1946). Biometrics Bull 2, 110-114.
    """
    k = means.shape[0]
    return join_components(
        means.mean(axis=0),
        SpreadParts(means.var(axis=0, ddof=1), shrunk.mean(axis=0), relative_variance(shrunk), k),
        confidence,
        z,
        known,
        _bias_spread_correlation(means, shrunk),
    )


@dataclass(frozen=True, slots=True, eq=False)
class SpreadParts:
    """S² (`spread`), W (`within`), e² (`relative`) and k of `limits_over_participants`."""

    spread: Floats
    within: Floats
    relative: Floats
    k: int


def join_components(
    bias: Floats,
    parts: SpreadParts,
    confidence: float,
    z: float,
    known: float = 0.0,
    correlation: Floats | float = 0.0,
) -> ParticipantLimits:
    """Return limits and their intervals from S², W, e² and k of `limits_over_participants`.

    Parameters
    ----------
    bias : ndarray
        Mean of the participants' means.
    parts : SpreadParts
        S², W, e² and k.
    confidence, z, known
        As `limits_over_participants`.
    correlation : ndarray or float, default 0
        r, of bias and sd.

    Returns
    -------
    ParticipantLimits
    """
    total, k = parts.spread + parts.within, parts.k
    sd = np.sqrt(np.maximum(total - known, 0))
    half = two_sided_student(confidence, k - 1) * np.sqrt(parts.spread / k)
    below, above = _distances(parts, confidence)
    outer = z * (np.sqrt(np.maximum(total + above.joined - known, 0)) - sd)
    inner = z * (sd - np.sqrt(np.maximum(total - below.joined - known, 0)))

    def reach(width: Floats, distances: _Distances, sign: float) -> Floats:
        squared = half**2 + width**2 + 2 * sign * correlation * half * width
        factor = _student_factor(half, width, distances, k, confidence)
        found: Floats = factor * np.sqrt(np.maximum(squared, 0))
        return found

    lower, upper = bias - z * sd, bias + z * sd
    return ParticipantLimits(
        bias=bias,
        half=half,
        sd=sd,
        lower_low=lower - reach(outer, above, -1),
        lower_high=lower + reach(inner, below, -1),
        upper_low=upper - reach(inner, below, 1),
        upper_high=upper + reach(outer, above, 1),
    )


def _distances(parts: SpreadParts, confidence: float) -> tuple[_Distances, _Distances]:
    """Return how far the interval of S² + W reaches below and above it."""
    low, high = chi_square_shares(parts.k - 1, confidence)
    error = two_sided_student(confidence, parts.k - 1) * np.sqrt(parts.relative)
    return (
        _Distances(parts.spread * low, parts.within * -np.expm1(-error)),
        _Distances(parts.spread * high, parts.within * np.expm1(np.minimum(error, 50.0))),
    )


def relative_variance(shrunk: Floats) -> Floats:
    """Return e², the variance of W = mean(a_i) over W², as `limits_over_participants` says."""
    k, within = shrunk.shape[0], shrunk.mean(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        sampled = np.where(within > 0, shrunk.var(axis=0, ddof=1) / (k * within**2), 0.0)
        logs = np.log(shrunk).var(axis=0, ddof=1)
    return widened(sampled, logs, k)


def widened(sampled: Floats, logs: Floats, k: int) -> Floats:
    """Return e² from R, the sample variance of W over W², and v, the variance of ln a_i."""
    wide = logs / k + logs**2 / (2 * (k - 1))
    # a participant without spread has no logarithm: then the widest that is allowed
    wide = np.where(np.isfinite(wide), wide, np.inf)
    found: Floats = np.clip(wide, sampled, _MOST_WIDENING * sampled)
    return found


def log_mean_interval(values: Floats, confidence: float, *, fewest: int = 4) -> Interval:
    """Return the interval of a mean over participants of numbers that are not negative.

    mean × exp(∓ t e) with t and e of `limits_over_participants`; NaN below `fewest` participants
    or where all are 0.
    """
    mean, k = float(values.mean()), values.size
    if k < fewest or not mean > 0:
        return NO_INTERVAL
    error = float(np.sqrt(relative_variance(values)))
    reach = float(np.exp(min(two_sided_student(confidence, k - 1) * error, 50.0)))
    return mean / reach, mean * reach


def _student_factor(
    half: Floats, width: Floats, parts: _Distances, k: int, confidence: float
) -> Floats:
    """Return f, what two independent parts take off Student's t on k - 1."""
    squares = parts.means**2 + parts.rest**2
    share = np.where(squares > 0, parts.rest**2 / np.where(squares > 0, squares, 1), 0.0)
    same, other = half**2 + width**2 * (1 - share), width**2 * share
    fourth = same**2 + other**2
    df = (k - 1) * np.where(fourth > 0, (same + other) ** 2 / np.where(fourth > 0, fourth, 1), 1.0)
    found: Floats = special.stdtrit(df, (1 + confidence) / 2) / two_sided_student(confidence, k - 1)
    return found


def _bias_spread_correlation(means: Floats, shrunk: Floats) -> Floats:
    """Return the correlation of bias and spread that skewness brings, shrunk towards 0.

    r² less its sampling variance (1 - r²)/(k - 3), not below 0: as it stands, the noise of r
    costs a percentage point of coverage where there is no skewness.
    """
    k = means.shape[0]
    deviation = means - means.mean(axis=0)
    squares = (deviation**2).sum(axis=0) - k / (k - 1) * deviation**2
    left_out = squares / (k - 2) + (shrunk.sum(axis=0) - shrunk) / (k - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        score = -0.5 * np.log(left_out)
        flat = np.ptp(score, axis=0) <= 1e-12 * np.abs(score).max(axis=0)
        score = score - score.mean(axis=0)
        r = (deviation * score).sum(axis=0)
        r = r / np.sqrt((deviation**2).sum(axis=0) * (score**2).sum(axis=0))
        share = 1 - (1 - r**2) / ((k - 3) * r**2)
    shrunk_r = r * np.sqrt(np.maximum(share, 0))
    found: Floats = np.where(np.isfinite(shrunk_r) & ~flat, shrunk_r, 0.0)
    return found
