"""Generalised confidence intervals of limits whose sd² is a sum of variances."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from twinangle.agreement._input import Floats
from twinangle.agreement._result import Interval

_STEP = 0.5  # of S², in standard deviations: U smooths it, the trapezium rule has 5 digits
_FINE_STEP = 0.125  # of the rest, which U smooths little where it is large beside S²
_DEEPEST = -16.0  # log density, below its peak, where a quadrature ends
_TAIL = 1e-5  # of a sum's distribution, gathered in one place at either end
_MOST_NODES = 400  # of a sum; more are gathered on a grid of half as many


@dataclass(frozen=True, slots=True)
class VariancePart:
    """An estimate distributed as its expectation times chi-squared over `df` degrees of freedom."""

    estimate: float
    df: float


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """Values of a random quantity and their probabilities."""

    values: Floats
    weights: Floats


def generalised_limits(
    bias: float,
    means: VariancePart,
    rest: Sequence[VariancePart],
    excess: float,
    k: int,
    *,
    confidence: float,
    z: float,
) -> tuple[Interval, Interval]:
    """Return the generalised confidence intervals of bias ∓ z sd.

    Parameters
    ----------
    bias : float
        Estimate, its variance estimated by `means` over k.
    means : VariancePart
        S², the part of sd² that the bias rests on.
    rest : sequence of VariancePart
        R_l, the other parts, independent of bias and S²; those that are 0 do not count.
    excess : float
        e, by how much more than `rest` says the sum of its parts errs, as SD of its logarithm.
    k : int
        Participants, at least 2.
    confidence : float
        Of the intervals.
    z : float
        Normal quantile of the limits.

    Returns
    -------
    lower_ci, upper_ci : tuple of float

    Notes
    -----
    The generalised pivotal quantity of the upper limit is [1]_ [2]_::

        bias - U √(S²*/k) + z √(S²* + exp(e t) Σ_l R_l*),  S²* = S² ν/χ²(ν),  R_l* = R_l ν_l/χ²(ν_l)

    with U standard normal, t Student's on k - 1 and all of them independent; its quantiles are the
    bounds, and the lower limit's are their mirror image in the bias. Without `rest` they are the
    exact ones of one value a participant, noncentral t (`exact_limit_factors`). The quantiles are
    found by quadrature over the logarithms of χ² and over t, U being integrated exactly, hence
    without random numbers.

    References
    ----------
    .. [1] Weerahandi (1993). J Am Stat Assoc 88, 899-905.
    .. [2] Hannig, Iyer & Patterson (2006). J Am Stat Assoc 101, 254-269 (from memory).
    """
    spread = _inverse_chi_square(means.df, _STEP)
    squares = (means.estimate * spread.values)[:, None]
    others = _sum_of_parts(rest, excess, k - 1)
    weights = spread.weights[:, None] * others.weights
    centre, error = z * np.sqrt(squares + others.values), np.sqrt(squares / k)

    def below(x: float) -> float:
        return float(np.sum(weights * scipy.special.ndtr((x - centre) / error)))

    reach = z * np.sqrt(means.estimate + sum(part.estimate for part in rest))
    low, high = (
        _solved(below, share, float(reach))
        for share in ((1 - confidence) / 2, (1 + confidence) / 2)
    )
    return (bias - high, bias - low), (bias + low, bias + high)


def _solved(below: Callable[[float], float], share: float, reach: float) -> float:
    """Return where the distribution function is `share`, sought around `reach`."""
    low, high = 0.5 * reach, 2 * reach
    while below(low) > share:
        low -= reach
    while below(high) < share:
        high *= 2
    return float(scipy.optimize.brentq(lambda x: below(x) - share, low, high, xtol=1e-6 * reach))


def _sum_of_parts(rest: Sequence[VariancePart], excess: float, student_df: int) -> _Nodes:
    """Return exp(e t) Σ R_l*."""
    total = _Nodes(np.zeros(1), np.ones(1))
    for part in rest:
        if part.estimate > 0:
            one = _inverse_chi_square(part.df, _FINE_STEP)
            total = _combined(total, one, np.add, part.estimate)
    if excess > 0 and total.values[-1] > 0:
        student = _student(student_df)
        factor = _Nodes(np.exp(excess * student.values), student.weights)
        total = _combined(total, factor, np.multiply, 1.0)
    return total


def _combined(first: _Nodes, second: _Nodes, join: np.ufunc, size: float) -> _Nodes:
    """Return one quantity joined with another, times a size, that is independent of it."""
    values = join.outer(first.values, size * second.values).ravel()
    both = _Nodes(values, np.outer(first.weights, second.weights).ravel())
    return both if values.size <= _MOST_NODES else _gathered(both)


def _gathered(nodes: _Nodes) -> _Nodes:
    """Return nodes evenly spaced by their logarithm, each weight shared by its two neighbours."""
    order = np.argsort(nodes.values)
    logs, weights = np.log(nodes.values[order]), nodes.weights[order]
    ends = np.searchsorted(np.cumsum(weights), [_TAIL, 1 - _TAIL])
    size = _MOST_NODES // 2
    grid = np.linspace(float(logs[ends[0]]), float(logs[ends[1]]), size)
    place = np.clip((logs - grid[0]) / (grid[1] - grid[0]), 0, size - 1)
    left = np.minimum(place.astype(np.int64), size - 2)
    right = weights * (place - left)
    shared = np.zeros(size)
    np.add.at(shared, left, weights - right)
    np.add.at(shared, left + 1, right)
    return _Nodes(np.exp(grid), shared)


@lru_cache(maxsize=512)
def _inverse_chi_square(df: float, step_sd: float) -> _Nodes:
    """Return nodes of df/χ²(df), evenly spaced by the logarithm."""
    step = step_sd * float(np.sqrt(scipy.special.polygamma(1, df / 2)))
    width = 8 / np.sqrt(df)
    # y - exp(y) + 1 lies above y and below -y²/2 on the right: the density ends within these
    logs = np.arange(-(2 * -_DEEPEST / df + width + 1), width + step, step)
    return _trapezium(-logs, df / 2 * (logs - np.expm1(logs)), np.exp)


@lru_cache(maxsize=512)
def _student(df: int) -> _Nodes:
    """Return nodes of Student's t, t = sinh(y) for y evenly spaced."""
    places = np.arange(-90.0, 91.0).astype(np.float64) * _FINE_STEP
    density = np.log(np.cosh(places)) - (df + 1) / 2 * np.log1p(np.sinh(places) ** 2 / df)
    return _trapezium(places, density, np.sinh)


def _trapezium(places: Floats, log_density: Floats, value: Callable[[Floats], Floats]) -> _Nodes:
    """Return the nodes that count, the weights adding up to 1."""
    relative = log_density - log_density.max()
    kept = relative > _DEEPEST
    weights = np.exp(relative[kept])
    return _Nodes(value(places[kept]), weights / weights.sum())
