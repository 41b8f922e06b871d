"""Limits of agreement and their intervals from participants' means and variances, on arrays.

The first axis is the participants; further axes are quantities, or simulated studies, each by
itself. One limit of one study and a thousand of them go through the same lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.agreement._input import Floats
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._quantiles import chi_square, two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval

_MOST_WIDENING = 2.0  # of the variance of W by the logarithms, against its sample variance
_USUAL_KURTOSIS = 0.5  # excess of participants' means where the data cannot show it
_KURTOSIS_OF_SKEWNESS = 1.5  # least excess kurtosis for a skewness, in its squares: a gamma's
_MOST_CORRELATION = 0.95  # of bias and spread


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
class Shape:
    """Shape of the participants' means: excess kurtosis g, and correlation r of bias and S²."""

    kurtosis: Floats
    correlation: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SpreadParts:
    """S² (`spread`), W (`within`), e² (`relative`) and k of `limits_over_participants`."""

    spread: Floats
    within: Floats
    relative: Floats
    k: int


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """How far sd² reaches to one side, by S² and by W, and what the bias takes of it.

    `width` is z times the distance of sd to that bound; `bias` the distance that is joined with it
    where all of it comes from S².
    """

    spread: Floats
    within: Floats
    width: Floats
    bias: Floats

    @property
    def share(self) -> Floats:
        """Share of S² in the square of the distance of sd²."""
        squares = self.spread**2 + self.within**2
        found: Floats = np.where(
            squares > 0, self.spread**2 / np.where(squares > 0, squares, 1), 1.0
        )
        return found


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
    S² = var(d_i), W = mean(a_i), sd² = S² + W - known.

    **S²** has on k - 1 degrees of freedom the bounds S² (ν/χ²)^ρ, ν = k - 1: the chi-squared
    interval, raised to ρ = √(1 + g ν/(2k)), because an excess kurtosis g makes the variance of
    ln S² 2/ν + g/k instead of 2/ν [1]_. g is taken from the data and shrunk, as few participants
    cannot show it and show too little of it, with w = (k - 4)/(k + 4)::

        g = w max(G2 + √(24/k), 1.5 G1², 0) + (1 - w)/2

    with G1, G2 the unbiased skewness and excess kurtosis of the d_i [2]_ and √(24/k) about one
    standard error of G2. It goes to G2 with many participants.

    **W** has the interval W exp(∓ t e), t Student's on k - 1: it is a mean over participants, who
    may differ in spread, and the logarithm makes its error symmetrical. e² lies between
    R = var(a_i)/(k W²) and 2 R; between these it is that of a mean of log-normal values [3]_,
    v/k + v²/(2 (k - 1)) with v = var(ln a_i), because R is too small in the very studies whose W
    is too small.

    The distances of both intervals are added in squares [4]_, which gives that of sd², (l, u).
    The addition again joins bias and z sd [5]_, at the upper limit::

        outer half-width = f √(q² + O² + 2 r q O),  inner = f √(q² + I² + 2 r q I)
        O = z (√u - sd),  I = z (sd - √l)

    and at the lower one with -r. r = w G1/(ρ √(2k/ν)) √σ, at most 0.95, is the correlation of mean
    and variance that skewness brings, G1/√(g + 2k/ν), shrunk; σ is the share of S² in the square
    of the distance of sd². q² = (1 - σ) t² S²/k + σ (c² S² - X²): bias and S² rest on the same
    participants, so where only they matter (σ = 1) q is what makes the interval the exact one of
    one value a participant, noncentral t, whose bound lies c S from the limit [6]_; X is the O (or
    I) of that case. f = t(h)/t(k - 1) for h = (k - 1) (x² + y²)²/(x⁴ + y⁴) degrees of freedom [7]_,
    x² and y² the parts of the sum of squares that rest on the d_i and on the a_i.

    The combination is this package's own, its constants chosen by simulation;
    `benchmarks/coverage.py` holds its proof. Copies of a participant's cycles change neither d_i
    nor a_i, so they change no interval.

    References
    ----------
    .. [1] Box (1953). Biometrika 40, 318-335 (from memory). Bonett (2006). Comput Stat Data Anal
       50, 775-782 (from memory).
    .. [2] Joanes & Gill (1998). Statistician 47, 183-189 (from memory).
    .. [3] Zhou & Gao (1997). Stat Med 16, 783-790 (Cox's method).
    .. [4] Graybill & Wang (1980). J Am Stat Assoc 75, 869-873.
    .. [5] Zou (2013). Stat Methods Med Res 22, 630-642. Donner & Zou (2012). Stat Methods Med
       Res 21, 347-359.
    .. [6] Carkeet (2015). Optom Vis Sci 92, e71-e80.
    .. [7] Satterthwaite (1946). Biometrics Bull 2, 110-114.
    """
    k = means.shape[0]
    spread, skewness, kurtosis = moments(means)
    return join_components(
        means.mean(axis=0),
        SpreadParts(spread, shrunk.mean(axis=0), relative_variance(shrunk), k),
        confidence,
        z,
        known,
        shape_taken(skewness, kurtosis, k),
    )


def join_components(
    bias: Floats,
    parts: SpreadParts,
    confidence: float,
    z: float,
    known: float = 0.0,
    shape: Shape | None = None,
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
    shape : Shape, optional
        g and r; None: what means that look normal are taken to have.

    Returns
    -------
    ParticipantLimits
    """
    k, sd = parts.k, np.sqrt(np.maximum(parts.spread + parts.within - known, 0))
    shape = shape or shape_taken(np.zeros(()), np.zeros(()), k)
    half = two_sided_student(confidence, k - 1) * np.sqrt(parts.spread / k)
    inside, outside = _sides(parts, shape, confidence, z, known)

    def reach(side: _Side, sign: float) -> Floats:
        share = side.share
        q = np.sqrt((1 - share) * half**2 + share * side.bias**2)
        r = sign * shape.correlation * np.sqrt(share)
        squared = q**2 + side.width**2 + 2 * r * q * side.width
        found: Floats = _student_factor(half, side, k, confidence) * np.sqrt(np.maximum(squared, 0))
        return found

    lower, upper = bias - z * sd, bias + z * sd
    return ParticipantLimits(
        bias=bias,
        half=half,
        sd=sd,
        lower_low=lower - reach(outside, -1),
        lower_high=lower + reach(inside, -1),
        upper_low=upper - reach(inside, 1),
        upper_high=upper + reach(outside, 1),
    )


def moments(values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return variance, unbiased skewness G1 and excess kurtosis G2 along the first axis.

    They are what `scipy.stats.skew` and `kurtosis` give with `bias=False`, without their cost a
    call, which counts in simulations; 0 where all values are equal. At least 4 values.
    """
    k, deviation = values.shape[0], values - values.mean(axis=0)
    squares = deviation**2
    second = squares.mean(axis=0)
    varied = np.ptp(values, axis=0) > 1e-12 * np.abs(values).max(axis=0)
    safe = np.where(varied, second, 1.0)
    skewness = (deviation * squares).mean(axis=0) / safe**1.5 * np.sqrt(k * (k - 1)) / (k - 2)
    excess = (squares**2).mean(axis=0) / safe**2 - 3
    excess = (k - 1) / ((k - 2) * (k - 3)) * ((k + 1) * excess + 6)
    return second * k / (k - 1), np.where(varied, skewness, 0.0), np.where(varied, excess, 0.0)


def shape_taken(skewness: Floats, kurtosis: Floats, k: int) -> Shape:
    """Return g and r of `limits_over_participants` from G1, G2 and k; r without σ."""
    weight = (k - 4) / (k + 4)
    seen = np.maximum(kurtosis + np.sqrt(24 / k), _KURTOSIS_OF_SKEWNESS * skewness**2)
    taken = weight * np.maximum(seen, 0) + (1 - weight) * _USUAL_KURTOSIS
    r = weight * skewness / (_raised(taken, k) * np.sqrt(2 * k / (k - 1)))
    return Shape(taken, np.clip(r, -_MOST_CORRELATION, _MOST_CORRELATION))


def _raised(kurtosis: Floats, k: int) -> Floats:
    """Return ρ, the factor of the standard error of ln S² that the kurtosis brings."""
    found: Floats = np.sqrt(1 + kurtosis * (k - 1) / (2 * k))
    return found


def _sides(
    parts: SpreadParts, shape: Shape, confidence: float, z: float, known: float
) -> tuple[_Side, _Side]:
    """Return how far sd² reaches towards 0 and away from it."""
    k, total = parts.k, parts.spread + parts.within
    sd = np.sqrt(np.maximum(total - known, 0))
    error = two_sided_student(confidence, k - 1) * np.sqrt(parts.relative)
    error = np.minimum(error, 50.0)
    raised, found = _raised(shape.kurtosis, k), []
    ends = exact_limit_factors(
        k, confidence=confidence, coverage=2 * float(scipy.special.ndtr(z)) - 1
    )
    for sign, bound in zip((-1, 1), ends, strict=True):
        ratio = (k - 1) / chi_square((1 - sign * confidence) / 2, k - 1)
        spread = parts.spread * np.abs(ratio**raised - 1)
        within = parts.within * np.abs(np.expm1(sign * error))
        reached = np.maximum(total + sign * np.hypot(spread, within) - known, 0)
        bias = np.sqrt(max((bound - z) ** 2 - (z * (np.sqrt(ratio) - 1)) ** 2, 0.0))
        width = z * np.abs(np.sqrt(reached) - sd)
        found.append(_Side(spread, within, width, bias * np.sqrt(parts.spread)))
    return found[0], found[1]


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


def _student_factor(half: Floats, side: _Side, k: int, confidence: float) -> Floats:
    """Return f, what two independent parts take off Student's t on k - 1."""
    share = side.share
    same, other = half**2 + side.width**2 * share, side.width**2 * (1 - share)
    fourth = same**2 + other**2
    df = (k - 1) * np.where(fourth > 0, (same + other) ** 2 / np.where(fourth > 0, fourth, 1), 1.0)
    found: Floats = scipy.special.stdtrit(df, (1 + confidence) / 2) / two_sided_student(
        confidence, k - 1
    )
    return found
