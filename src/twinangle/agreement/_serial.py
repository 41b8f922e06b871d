"""Mean and limits of one participant's cycles when their serial correlation is not known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.agreement._input import Floats
from twinangle.agreement._quantiles import half_width
from twinangle.agreement._result import Interval

_LOWEST, _HIGHEST = -0.7, 0.98  # serial correlations considered
_POINT_SHARE, _POINT_CYCLES = 0.5, 6.0  # prior share of the point: 6/n, at most 0.5
_POINT_AT = 2.2  # where it lies: -2.2/√n, not below the lowest
_ROUNDING = 1e-13  # spread, as a share of the values, that is none
_NEGLIGIBLE = 1e-7  # share of the largest weight
_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(60)


@dataclass(frozen=True, slots=True, eq=False)
class SerialValues:
    """What serially correlated values say of their mean and limits, correlation by correlation.

    Attributes
    ----------
    mean : float
        Plain mean of the values.
    n : int
        Values.
    correlation : ndarray, shape (n_candidates,)
        Candidate serial correlations, of neighbours.
    weights : ndarray, shape (n_candidates,)
        How probable each of them is; they add up to 1.
    shift : ndarray, shape (n_candidates,)
        Mean by generalised least squares under each candidate, less the plain mean.
    sd : ndarray, shape (n_candidates,)
        Standard deviation of a single value under each candidate, on n - 1 degrees of freedom.
    counted : ndarray, shape (n_candidates,)
        Independent values that the n are worth for the mean under each candidate.
    """

    mean: float
    n: int
    correlation: Floats
    weights: Floats
    shift: Floats
    sd: Floats
    counted: Floats

    def half(self, confidence: float) -> float:
        """Return how far from the plain mean the true one lies, with the confidence."""
        error, df = self.sd / np.sqrt(self.counted), self.n - 1

        def within(half: float) -> float:
            above = scipy.special.stdtr(df, (half - self.shift) / error)
            below = scipy.special.stdtr(df, (-half - self.shift) / error)
            return float(self.weights @ (above - below))

        return _root(within, confidence, 0.0, float(error.max())) if error.all() else 0.0

    def limit(self, sign: int, confidence: float, coverage: float) -> Interval:
        """Return the interval of mean + sign z SD, sign 1 or -1."""
        if not self.sd.all():
            return self.mean, self.mean
        z, root = sign * half_width(coverage), np.sqrt(self.counted)[:, None]
        chi_square = scipy.special.chdtri(self.n - 1, (1 - _NODES) / 2)
        sds = self.sd[:, None] * np.sqrt((self.n - 1) / chi_square)
        shares = self.weights[:, None] * _NODE_WEIGHTS / 2

        def below(end: float) -> float:
            scaled = (end - self.shift[:, None]) / sds - z
            return float(np.sum(shares * scipy.special.ndtr(scaled * root)))

        reach = float(self.sd.max())
        low, high = (
            _root(below, share, -reach, reach)
            for share in ((1 - confidence) / 2, (1 + confidence) / 2)
        )
        return self.mean + low, self.mean + high

    def shared(self, confidence: float) -> Interval:
        """Return the interval of what neighbours share, p SD², not below 0."""
        if not self.sd.all():
            return 0.0, 0.0
        up = self.correlation > 0
        squares = self.correlation[up] * self.sd[up] ** 2 * (self.n - 1)
        none = float(self.weights[~up].sum())

        def below(size: float) -> float:
            return none + float(self.weights[up] @ scipy.special.chdtrc(self.n - 1, squares / size))

        reach = float(self.sd.max()) ** 2
        low, high = (
            _root(below, share, 1e-12 * reach, reach) if none < share else 0.0
            for share in ((1 - confidence) / 2, (1 + confidence) / 2)
        )
        return low, high


def serial_values(values: Floats) -> SerialValues:
    """Weigh the serial correlations that values in the order measured may have.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least 3, in the order measured.

    Returns
    -------
    SerialValues

    Notes
    -----
    Values are normal with a first-order serial correlation p. For each p the mean is known by
    generalised least squares, its error and the standard deviation from the residuals on n - 1
    degrees of freedom. 10 cycles cannot tell p: every interval is therefore an average over p,
    each weighed by its restricted likelihood, with R the correlation matrix, S the generalised
    residual sum of squares and e = 1'R⁻¹1 (`counted`), times its prior weight [1]_::

        weight(p) = prior(p) |R|^(-1/2) e^(-1/2) S^(-(n - 1)/2)

    The prior decides what the intervals hold. An even one makes them too wide where cycles are
    independent. This one was chosen by simulation so that intervals hold what they say, on
    average over studies, at every p from -0.3 to 0.5 and at 10 to 50 values (the idea of
    matching priors [2]_; a table of factors found by simulation does the same [3]_): the share
    min(0.5, 6/n) on the one point -2.2/√n (not below -0.7), the rest evenly from -0.7 to 0.98.
    Point and share are this package's own; `benchmarks/coverage.py` shows what they hold.

    References
    ----------
    .. [1] Zellner & Tiao (1964). J Am Stat Assoc 59, 763-778 (from memory).
    .. [2] Welch & Peers (1963). J R Stat Soc B 25, 318-329.
    .. [3] Zwiers & von Storch (1995). J Climate 8, 336-351.
    """
    n, mean = values.size, float(values.mean())
    p, prior = _candidates(n)
    centred = values - mean
    whole, inner = float(centred @ centred), float(centred[1:-1] @ centred[1:-1])
    lagged = float(centred[1:] @ centred[:-1])
    counted = (n - (n - 2) * p) / (1 + p)
    # Centred values add up to 0, so that 1'R⁻¹ centred is that of the two ends alone.
    shift = p * (centred[0] + centred[-1]) / (1 + p) / counted
    squares = (whole + p**2 * inner - 2 * p * lagged) / (1 - p**2) - counted * shift**2
    if np.ptp(values) <= _ROUNDING * np.abs(values).max():
        return SerialValues(mean, n, p, prior, 0 * p, 0 * p, counted)
    log_weight = np.log(prior) - np.log(counted) / 2
    log_weight -= (n - 1) / 2 * np.log(squares / whole * (1 - p**2))
    weight = np.exp(log_weight - log_weight.max())
    kept = weight > _NEGLIGIBLE
    return SerialValues(
        mean=mean,
        n=n,
        correlation=p[kept],
        weights=weight[kept] / weight[kept].sum(),
        shift=shift[kept],
        sd=np.sqrt(squares[kept] / (n - 1)),
        counted=counted[kept],
    )


def _candidates(n: int) -> tuple[Floats, Floats]:
    """Return the serial correlations considered and their prior weights."""
    m = max(40, int(8 * np.sqrt(n)))  # closer than the values could tell apart
    even = _LOWEST + (_HIGHEST - _LOWEST) * (np.arange(m) + 0.5) / m
    share = min(_POINT_SHARE, _POINT_CYCLES / n)
    point = max(-_POINT_AT / float(np.sqrt(n)), _LOWEST)
    return np.append(even, point), np.append(np.full(m, (1 - share) / m), share)


def _root(rising: Callable[[float], float], goal: float, low: float, high: float) -> float:
    """Return where a rising function reaches the goal; the ends move apart until they hold it."""
    while rising(high) < goal:
        high *= 2
    while rising(low) > goal:
        low *= 2
    found = scipy.optimize.brentq(
        lambda x: rising(x) - goal, low, high, xtol=1e-11 * high, rtol=1e-11
    )
    return float(found)
