"""Restricted maximum likelihood of participants, and units within them, in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.agreement._input import Floats

# Logarithms of the ratios searched, each in its natural unit.
_COARSE = np.arange(-9.0, 24.1, 1.5)
_FINE = np.arange(-9.0, 24.1, 0.25)
_HOPELESS = 2.0  # an edge whose grid lies this much above the inside's maximum cannot be below it
_FLAT = 1e-9  # a deviance no more than this above another is the same, and then 0 is taken


@dataclass(frozen=True, slots=True, eq=False)
class NestedSums:
    """What the likelihood needs of the differences: count, mean and squares of each unit.

    Attributes
    ----------
    counts, means, squares : ndarray, shape (units,)
        Differences of each unit, their mean, and their sum of squares about it. Without a nested
        level a participant is one unit.
    owner : ndarray of int, shape (units,)
        Whose unit it is, ascending from 0.
    """

    counts: Floats
    means: Floats
    squares: Floats
    owner: NDArray[np.int64]

    @property
    def n(self) -> int:
        """Differences."""
        return int(self.counts.sum())

    @property
    def k(self) -> int:
        """Participants."""
        return int(self.owner[-1]) + 1

    @property
    def first(self) -> NDArray[np.int64]:
        """Return where each participant's units begin."""
        return np.searchsorted(self.owner, np.arange(self.k))

    @property
    def nested(self) -> bool:
        """Whether anybody has two units."""
        return self.owner.size > self.k


@dataclass(frozen=True, slots=True, eq=False)
class RemlFit:
    """The fitted model.

    Attributes
    ----------
    between, nested, within : float
        Variances between participants, between units within them, and within a unit.
    bias, bias_variance : float
        Mean by generalised least squares, and its variance.
    deviance : float
        -2 times the restricted log-likelihood.
    means, shares : ndarray, shape (k,)
        Each participant's mean of unit means, and its share in the bias.
    unit_squares : ndarray, shape (k,)
        Σ_j w_ij (m_ij - m_i)² over the variance within: on average, a participant's units less 1.
    """

    between: float
    nested: float
    within: float
    bias: float
    bias_variance: float
    deviance: float
    means: Floats
    shares: Floats
    unit_squares: Floats

    @property
    def total(self) -> float:
        """Variance of a single difference."""
        return self.between + self.nested + self.within


def nested_sums(
    values: Floats, participant: NDArray[np.int64], unit: NDArray[np.int64] | None
) -> NestedSums:
    """Return the sums of the differences of each unit.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Differences.
    participant : ndarray of int, shape (n,)
        Whose each is, from 0 without a gap.
    unit : ndarray of int, shape (n,), optional
        Unit each is of, from 0 without a gap; a unit is of one participant only.

    Returns
    -------
    NestedSums
    """
    unit = participant if unit is None else unit
    counts = np.bincount(unit)
    means = np.bincount(unit, values) / counts
    squares = np.bincount(unit, (values - means[unit]) ** 2).astype(np.float64)
    owner = np.zeros(counts.size, dtype=np.int64)
    owner[unit] = participant
    order = np.argsort(owner, kind="stable")
    return NestedSums(counts[order].astype(float), means[order], squares[order], owner[order])


@dataclass(frozen=True, slots=True, eq=False)
class _Level:
    """The likelihood's parts at one pair of ratios, or at many along the first axes."""

    unit_weight: Floats  # w
    own_mean: Floats  # a participant's mean of unit means, weighed by w
    own_weight: Floats  # W = Σ w
    weight: Floats  # u = 1/(1/W + between)
    mean: Floats  # of participants' means, weighed by u
    quadratic: Floats  # Q
    deviance: Floats


def _level(sums: NestedSums, between: Floats, nested: Floats) -> _Level:
    """Return the parts at variance ratios of shape (..., 1)."""
    unit_variance = 1 / sums.counts + nested
    w = 1 / unit_variance
    first, owner = sums.first, sums.owner
    total = np.add.reduceat(w, first, axis=-1)
    own = np.add.reduceat(w * sums.means, first, axis=-1) / total
    u = 1 / (1 / total + between)
    mean = (u * own).sum(axis=-1, keepdims=True) / u.sum(axis=-1, keepdims=True)
    quadratic = (
        sums.squares.sum()
        + (w * (sums.means - own[..., owner]) ** 2).sum(axis=-1)
        + (u * (own - mean) ** 2).sum(axis=-1)
    )
    free = sums.n - 1
    deviance = (
        free * (np.log(2 * np.pi * quadratic / free) + 1)
        + np.log(sums.counts * unit_variance).sum(axis=-1)
        + np.log(total / u).sum(axis=-1)
        + np.log(u.sum(axis=-1))
    )
    return _Level(w, own, total, u, mean, quadratic, deviance)


def deviance_and_slope(sums: NestedSums, ratios: Floats) -> tuple[float, Floats]:
    """Return -2 times the profiled restricted log-likelihood and its derivatives.

    Parameters
    ----------
    sums : NestedSums
        Of the differences.
    ratios : ndarray, shape (2,)
        Variances between participants and between units over that within.

    Returns
    -------
    deviance : float
    slope : ndarray, shape (2,)
        Its derivatives by both ratios.
    """
    at = _level(sums, ratios[:1], ratios[1:])
    u, w, owner = at.weight, at.unit_weight, sums.owner
    scale = (sums.n - 1) / float(at.quadratic)
    share = u / at.own_weight
    off = at.own_mean - at.mean
    score = w * (sums.means - at.own_mean[owner] + (share * off)[owner])
    trace = w - w**2 * ((1 - share) / at.own_weight)[owner]
    slope = [
        np.sum(u - u**2 / u.sum()) - scale * np.sum((u * off) ** 2),
        np.sum(trace - (w * share[owner]) ** 2 / u.sum()) - scale * np.sum(score**2),
    ]
    return float(at.deviance), np.array(slope)


def fit_reml(sums: NestedSums) -> RemlFit:
    """Fit the variances by restricted maximum likelihood.

    Parameters
    ----------
    sums : NestedSums
        Of the differences; they must vary within a unit.

    Returns
    -------
    RemlFit
        `nested` is 0 where nobody has two units.

    Notes
    -----
    The model is d_ijk = bias + a_i + b_ij + e_ijk [1]_. With a the variance between participants
    and b that between units, both over the variance within, and m_ij, n_ij, SS_ij the mean, count
    and sum of squares of unit j of participant i, its matrix inverts twice by Woodbury's identity::

        w_ij = 1/(1/n_ij + b),  W_i = Σ_j w_ij,  m_i = Σ_j w_ij m_ij/W_i
        u_i = 1/(1/W_i + a),    bias = Σ u_i m_i/Σ u_i
        Q = Σ SS_ij + Σ w_ij (m_ij - m_i)² + Σ u_i (m_i - bias)²
        -2 ln L = (N - 1) (ln(2π Q/(N - 1)) + 1) + Σ ln(n_ij/w_ij) + Σ ln(W_i/u_i) + ln Σ u_i

    the restricted likelihood [2]_ with the variance within, Q/(N - 1), profiled out. It is looked
    at over a grid of both ratios, 0 included, because it may have several maxima; the best inside,
    and what on an edge comes near it, are refined by its derivatives, and the lowest is taken.

    References
    ----------
    .. [1] Searle, Casella & McCulloch (1992). Variance Components. Wiley.
    .. [2] Harville (1977). J Am Stat Assoc 72, 320-338. :doi:`10.1080/01621459.1977.10480998`
    """
    # a ratio's natural unit: one over the differences a participant's, or a unit's, mean rests on
    scales = np.array([sums.k / sums.n, float(np.mean(1 / sums.counts))])
    best, lowest = np.zeros(2), np.inf
    for start, seen in _starts(sums, scales):
        if seen < lowest + _HOPELESS:
            found, value = _refined(sums, start, scales)
            if value <= lowest + _FLAT:
                best, lowest = found, value
    return fit_at(sums, best)


def _starts(sums: NestedSums, scales: Floats) -> list[tuple[Floats, float]]:
    """Return the best ratios of a grid and their deviance: inside, on each edge, in the corner."""
    none = np.zeros(1)
    coarse, fine = ([s * np.exp(logs) for s in scales] for logs in (_COARSE, _FINE))
    axes = [(fine[0], none), (none, none)]
    if sums.nested:
        axes = [(coarse[0], coarse[1]), (fine[0], none), (none, fine[1]), (none, none)]
    starts = []
    for between, nested in axes:
        seen = _level(sums, between[:, None, None], nested[:, None]).deviance
        i, j = np.unravel_index(int(np.argmin(seen)), seen.shape)
        starts.append((np.array([between[i], nested[j]]), float(seen[i, j])))
    return starts


def _refined(sums: NestedSums, start: Floats, scales: Floats) -> tuple[Floats, float]:
    """Return the ratios of the lowest deviance near `start`, and it; those at 0 stay there."""
    free = start > 0
    if not free.any():
        return start, deviance_and_slope(sums, start)[0]

    def objective(logs: Floats) -> tuple[float, Floats]:
        ratios = np.zeros(2)
        ratios[free] = np.exp(logs)
        value, slope = deviance_and_slope(sums, ratios)
        return value, slope[free] * ratios[free]

    ends = (np.log(scales[free]) + _COARSE[end] for end in (0, -1))
    found = scipy.optimize.minimize(
        objective,
        np.log(start[free]),
        jac=True,
        method="L-BFGS-B",
        bounds=scipy.optimize.Bounds(*ends),
        options={"ftol": 1e-15, "gtol": 1e-9},
    )
    ratios = np.zeros(2)
    ratios[free] = np.exp(found.x)
    return ratios, float(found.fun)


def fit_at(sums: NestedSums, ratios: Floats) -> RemlFit:
    """Return the model at the variance ratios of `deviance_and_slope`."""
    at = _level(sums, ratios[:1], ratios[1:])
    within = float(at.quadratic) / (sums.n - 1)
    squares = at.unit_weight * (sums.means - at.own_mean[sums.owner]) ** 2
    return RemlFit(
        between=within * float(ratios[0]),
        nested=within * float(ratios[1]),
        within=within,
        bias=float(at.mean[0]),
        bias_variance=within / float(at.weight.sum()),
        deviance=float(at.deviance),
        means=at.own_mean,
        shares=at.weight / at.weight.sum(),
        unit_squares=np.bincount(sums.owner, squares) / within,
    )
