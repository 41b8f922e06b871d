"""Variance of differences between and within participants."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._input import Floats, require_names
from twinangle.agreement._people import people_student
from twinangle.agreement._result import Interval


@dataclass(frozen=True, slots=True)
class Estimate:
    """Bias, total SD and the variances it is made of; `between` may be negative.

    `kept` is the part of sd² that rests on the participants' means.
    """

    bias: float
    sd: float
    between: float
    within: float
    kept: float


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """Counts, means and variances of the differences of each participant.

    Attributes
    ----------
    counts, means, variances : ndarray, shape (k,)
        Pairs of each participant, their mean and variance (0 with one pair), participants in
        order of first appearance.
    labels : tuple
        Their names.
    codes : ndarray of int, shape (n,)
        Which of them each difference is of.
    """

    counts: NDArray[np.int64]
    means: Floats
    variances: Floats
    labels: tuple[object, ...]
    codes: NDArray[np.int64]

    @property
    def k(self) -> int:
        """Participants."""
        return int(self.counts.size)

    @property
    def spread_of_means(self) -> float:
        """Variance of the participants' means."""
        return float(self.means.var(ddof=1))

    @property
    def shrunk_variances(self) -> Floats:
        """(1 - 1/n_i) s_i²: what a participant's mean leaves out of a single pair's variance."""
        shrunk: Floats = (1 - 1 / self.counts) * self.variances
        return shrunk

    @property
    def by_participant(self) -> Estimate:
        """Every participant counting the same."""
        total = self.spread_of_means + float(self.shrunk_variances.mean())
        repeated = self.counts > 1
        within = float(self.variances[repeated].mean()) if repeated.any() else 0.0
        bias, kept = float(self.means.mean()), self.spread_of_means
        return Estimate(bias, float(np.sqrt(total)), total - within, within, kept)

    @property
    def by_participant_pooled(self) -> Estimate:
        """Participants' means counting the same, one pooled within variance (Zou 2013)."""
        within = self.mean_squares[1]
        inverse = float(np.mean(1 / self.counts))
        kept = self.spread_of_means
        sd = float(np.sqrt(kept + (1 - inverse) * within))
        return Estimate(float(self.means.mean()), sd, kept - inverse * within, within, kept)

    @property
    def by_pairs(self) -> Estimate:
        """One-way analysis of variance, every pair counting the same (Bland & Altman 2007)."""
        between_square, within = self.mean_squares
        between = (between_square - within) / self.divisor
        total = max(between, 0.0) + within
        kept = min(between_square / self.divisor, total)
        return Estimate(self.mean_of_pairs, float(np.sqrt(total)), between, within, kept)

    @property
    def mean_of_pairs(self) -> float:
        """Mean of all differences."""
        return float(self.counts @ self.means / self.counts.sum())

    @property
    def mean_squares(self) -> tuple[float, float]:
        """Mean squares between and within participants."""
        n = int(self.counts.sum())
        between = float(self.counts @ (self.means - self.mean_of_pairs) ** 2) / (self.k - 1)
        within = float((self.counts - 1) @ self.variances) / (n - self.k)
        return between, within

    @property
    def divisor(self) -> float:
        """(N² - Σ n_i²) / ((k - 1) N), the pairs a participant the analysis counts on."""
        n = float(self.counts.sum())
        return (n**2 - float(self.counts @ self.counts)) / ((self.k - 1) * n)

    def bias_interval(self, confidence: float, *, by_participant: bool) -> Interval:
        """Return the interval of the bias, participants being what is sampled.

        Student's t on k - 1 degrees of freedom, NaN below 3 participants: var(d_i)/k for the mean
        of participants' means; for the mean of all pairs the ratio estimator,
        k/(k-1) Σ (n_i (d_i - bias))² / N².
        """
        t = people_student(confidence, self.k)
        if by_participant:
            bias, variance = float(self.means.mean()), self.spread_of_means / self.k
        else:
            bias = self.mean_of_pairs
            weighted = self.counts * (self.means - bias) / self.counts.sum()
            variance = float(weighted @ weighted) * self.k / (self.k - 1)
        half = t * np.sqrt(variance)
        return float(bias - half), float(bias + half)


def variance_components(
    values: Floats, participant: ArrayLike | Sequence[object] | None
) -> Components:
    """Return each participant's count, mean and variance.

    Raises
    ------
    ValueError
        If the lengths differ, a participant is missing, or readings stand for participants.
    """
    import pandas as pd

    if participant is None:
        n = values.size
        return Components(
            np.ones(n, dtype=np.int64), values, np.zeros(n), tuple(range(n)), np.arange(n)
        )
    require_names(participant)
    labels = pd.Series(list(np.asarray(participant, dtype=object)), dtype=object)
    if labels.size != values.size:
        raise ValueError(
            f"`difference` has {values.size} values and `participant` {labels.size}; each "
            "difference needs its participant."
        )
    if labels.isna().any():
        raise ValueError(f"`participant` is missing at index {int(np.argmax(labels.isna()))}.")
    codes, names = pd.factorize(labels)
    counts = np.bincount(codes)
    means = np.bincount(codes, values) / counts
    squares = np.bincount(codes, (values - means[codes]) ** 2)
    return Components(counts, means, squares / np.maximum(counts - 1, 1), tuple(names), codes)
