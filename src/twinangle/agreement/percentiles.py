"""Limits of agreement as percentiles, for differences of any distribution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
import scipy
from numpy.typing import ArrayLike

from twinangle.agreement._components import Components, variance_components
from twinangle.agreement._from_frame import difference_and_participant
from twinangle.agreement._input import Floats, finite_array, fraction
from twinangle.agreement._result import Interval, Result, counted, interval, quantity
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class PercentileLimits(Result):
    """Limits of agreement as percentiles of the differences, whatever their distribution."""

    median: Annotated[float, data("median difference")]
    median_ci: Interval
    lower: Annotated[
        float,
        data("percentile of the differences that leaves (1 - coverage)/2 below"),
    ]
    lower_ci: Interval
    upper: Annotated[
        float,
        data("percentile of the differences that leaves (1 - coverage)/2 above"),
    ]
    upper_ci: Interval
    n_participants: Annotated[int, number("participants")]
    n_observations: Annotated[int, number("differences")]
    n_effective: Annotated[
        float,
        number("independent differences that they are worth at the median"),
    ]
    coverage: Annotated[float, number("share of differences between the limits")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Median difference {quantity(self.median, unit)} "
            f"({interval(self.median_ci, unit, self.confidence)}); "
            f"{100 * self.coverage:g} % of differences between {quantity(self.lower, unit)} and "
            f"{quantity(self.upper, unit)}; {counted(self.n_observations, 'difference')} of "
            f"{counted(self.n_participants, 'participant')}."
        )


def percentile_limits(
    difference: ArrayLike | None = None,
    participant: ArrayLike | Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    coverage: float = 0.95,
    data: pd.DataFrame | None = None,
    test: ArrayLike | None = None,
    reference: ArrayLike | None = None,
) -> PercentileLimits:
    """Estimate limits of agreement as percentiles, for differences far from normal.

    Parameters
    ----------
    difference : array_like of float, shape (n,)
        Test minus reference.
    participant : array_like, shape (n,), optional
        Whose difference each is; None: one a participant. Every participant weighs the same.
    confidence, coverage : float, default 0.95
        Of the intervals and of the limits.
    data : DataFrame, optional
        A table; `difference`, or `test` and `reference`, and `participant` are then names of its
        columns.
    test, reference : array_like or str, optional
        Both instruments, in place of `difference`.

    Returns
    -------
    PercentileLimits

    Raises
    ------
    ValueError
        If there are fewer than 2 participants, a value is missing or infinite, or the lengths
        differ.

    Notes
    -----
    The percentile is the smallest difference whose weighted share reaches p. With one difference
    a participant its interval is the exact one from order statistics: ranks r and s + 1 with r
    and s the (1 ∓ confidence)/2 quantiles of the binomial (n, p) [2]_. With several, the same
    ranks of n_e = p (1 - p) / V differences, read at the shares r/n_e and (s + 1)/n_e [1]_, with V
    the variance over participants of the share at or below the percentile, over k; n_e lies
    between k and n.

    References
    ----------
    .. [1] Woodruff (1952). J Am Stat Assoc 47, 635-646.
    .. [2] Conover (1999). Practical Nonparametric Statistics, 3rd ed., section 3.2.
    """
    difference, participant = difference_and_participant(
        data, difference, participant, test, reference
    )
    values = finite_array(difference, "difference", ndim=1, min_rows=2, participant=participant)
    fraction(confidence, "confidence"), fraction(coverage, "coverage")
    parts = variance_components(values, participant)
    if parts.k < 2:
        raise ValueError("percentile limits need at least 2 participants, got 1.")
    tail = (1 - coverage) / 2
    found = [_percentile(values, parts, share, confidence) for share in (0.5, tail, 1 - tail)]
    return PercentileLimits(
        median=found[0][0],
        median_ci=found[0][1],
        lower=found[1][0],
        lower_ci=found[1][1],
        upper=found[2][0],
        upper_ci=found[2][1],
        n_participants=parts.k,
        n_observations=values.size,
        n_effective=found[0][2],
        coverage=coverage,
        confidence=confidence,
        assumptions=(
            "Participants are independent; no distribution is assumed.",
            "An infinite bound says that the sample is too small to bound that side.",
        ),
    )


def _percentile(
    values: Floats, parts: Components, share: float, confidence: float
) -> tuple[float, Interval, float]:
    """Return a weighted percentile, its interval and the differences it counts on."""
    order = np.argsort(values, kind="stable")
    weights = (1 / (parts.k * parts.counts))[parts.codes][order]
    reached = np.cumsum(weights)
    ranked = values[order]

    def at(level: float) -> float:
        return float(ranked[min(int(np.searchsorted(reached, level - 1e-12)), ranked.size - 1)])

    point = at(share)
    below = np.bincount(parts.codes, values <= point) / parts.counts
    spread = float(below.var(ddof=1)) / parts.k
    worth = float(values.size)
    if spread > 0 and not np.all(parts.counts == 1):
        worth = min(worth, max(share * (1 - share) / spread, float(min(parts.k, values.size))))
    n = int(worth)
    low, high = scipy.stats.binom.ppf([(1 - confidence) / 2, (1 + confidence) / 2], n, share)
    bounds = (
        at(low / n) if low > 0 else -np.inf,
        at((high + 1) / n) if high < n else np.inf,
    )
    return point, (float(bounds[0]), float(bounds[1])), worth
