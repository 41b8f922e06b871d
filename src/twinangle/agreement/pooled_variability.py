"""Cycle-to-cycle variability of two instruments over participants, with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._participants import log_mean_interval
from twinangle.agreement._result import Interval, Result, counted, interval, quantity
from twinangle.agreement.pooled_curves import mean_and_interval, participants_of
from twinangle.agreement.variability import VariabilityComparison
from twinangle.declare import data, number

FEWEST_FOR_LOGARITHM = 4


@dataclass(frozen=True, slots=True, eq=False)
class PooledVariability(Result):
    """Per-cycle standard deviations of two instruments over participants, paired."""

    test_sd: Annotated[
        float,
        data(
            "mean over participants of the test instrument's SD over cycles, freed of its "
            "small-sample bias"
        ),
    ]
    test_sd_ci: Annotated[
        Interval,
        data("interval of the test instrument's SD over participants; NaN with one participant"),
    ]
    reference_sd: Annotated[
        float,
        data(
            "mean over participants of the reference's SD over cycles, freed of its small- "
            "sample bias"
        ),
    ]
    reference_sd_ci: Annotated[
        Interval,
        data("interval of the reference's SD over participants; NaN with one participant"),
    ]
    ratio: Annotated[
        float,
        number(
            "geometric mean over participants of test over reference; NaN when an "
            "instrument did not vary in somebody"
        ),
    ]
    ratio_ci: Annotated[
        Interval,
        number("interval of the ratio over participants; NaN with one participant"),
    ]
    difference: Annotated[float, data("mean over participants of test - reference")]
    difference_ci: Annotated[
        Interval,
        data("interval of the difference over participants; NaN with one participant"),
    ]
    added_sd: Annotated[
        float,
        data("√ of the mean over participants of test² - reference²; NaN when that is negative"),
    ]
    added_sd_ci: Annotated[
        Interval,
        data(
            "interval of the added SD over participants; a lower bound of 0 says that the "
            "data are compatible with no added variability"
        ),
    ]
    n_participants: Annotated[int, number("participants")]
    n_trials: Annotated[int, number("trials")]
    confidence: Annotated[float, number("confidence of the intervals")]
    notes: Annotated[tuple[str, ...], number("what to know before the numbers are used")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        added = (
            f"the test instrument adds {quantity(self.added_sd, unit)} "
            f"({interval(self.added_sd_ci, unit, self.confidence)})"
            if np.isfinite(self.added_sd)
            else "the test instrument varies less, so it has no added standard deviation"
        )
        return (
            f"Over {counted(self.n_participants, 'participant')} the standard deviation over "
            f"cycles was {quantity(self.test_sd, unit)} against "
            f"{quantity(self.reference_sd, unit)}: difference {quantity(self.difference, unit)} "
            f"({interval(self.difference_ci, unit, self.confidence)}), ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)}); {added}."
        )


def pool_variability(
    comparisons: Sequence[VariabilityComparison],
    participant: ArrayLike | Sequence[object],
    *,
    confidence: float = 0.95,
) -> PooledVariability:
    """Average the per-cycle standard deviations of two instruments over participants.

    Parameters
    ----------
    comparisons : sequence of VariabilityComparison
        One a trial.
    participant : array_like, shape (n_trials,)
        Whose each is; a participant's trials are averaged first.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    PooledVariability

    Raises
    ------
    ValueError
        If there is none, the lengths differ, a participant is missing, or `confidence` is not
        between 0 and 1.

    Notes
    -----
    Student's t over the k participants, paired, so that what both instruments see of a
    participant cancels: of ln(w/r), of (w - r)/c4(n) and of w² - r², with w and r the two standard
    deviations over n cycles and c4(n) = √(2/(n - 1)) Γ(n/2) / Γ((n - 1)/2). Where w² - r² is above
    0 in everyone (4 or more), its mean has the interval mean × exp(∓ t e) that `pool_budgets`
    uses, because squares of participants who differ in size are skewed. Forms that pool all
    cycles take strides for people and are too narrow. `benchmarks/coverage.py` shows what these
    hold.
    """
    confidence = fraction(confidence, "confidence")
    people = participants_of(participant, len(comparisons), "comparisons")
    table = pd.DataFrame(
        {
            "w": [one.test_sd for one in comparisons],
            "r": [one.reference_sd for one in comparisons],
            "c4": _unbiased_factor(np.array([one.n_cycles for one in comparisons], dtype=float)),
        }
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        columns = {
            "test": table["w"] / table["c4"],
            "reference": table["r"] / table["c4"],
            "ratio": np.log(table["w"] / table["r"]),
            "difference": (table["w"] - table["r"]) / table["c4"],
            "squares": table["w"] ** 2 - table["r"] ** 2,
        }
        means = pd.DataFrame(columns).groupby(people, sort=False).mean()
    found = {name: mean_and_interval(means[name].to_numpy(), confidence) for name in columns}
    log_ratio, log_ci = found["ratio"]
    squares = means["squares"].to_numpy()
    square, square_ci = found["squares"]
    if squares.min() > 0 and squares.size >= FEWEST_FOR_LOGARITHM:
        square_ci = log_mean_interval(squares, confidence)
    return PooledVariability(
        test_sd=found["test"][0],
        test_sd_ci=found["test"][1],
        reference_sd=found["reference"][0],
        reference_sd_ci=found["reference"][1],
        ratio=float(np.exp(log_ratio)),
        ratio_ci=(float(np.exp(log_ci[0])), float(np.exp(log_ci[1]))),
        difference=found["difference"][0],
        difference_ci=found["difference"][1],
        added_sd=float(np.sqrt(square)) if square >= 0 else float("nan"),
        added_sd_ci=(_root(square_ci[0]), _root(square_ci[1])),
        n_participants=len(means),
        n_trials=len(comparisons),
        confidence=confidence,
        notes=_notes(len(means), square),
        assumptions=(
            "Participants are independent, each counting once with the mean of their trials.",
            "The added SD takes the test instrument's own error as unrelated to the movement.",
        ),
    )


def _root(value: float) -> float:
    """Return the root, 0 for a negative number, NaN for NaN."""
    return float(np.sqrt(np.maximum(value, 0.0)))


def _unbiased_factor(n: Floats) -> Floats:
    """Return c4(n), the expected share of σ that a standard deviation of n values shows."""
    logs = special.gammaln(n / 2) - special.gammaln((n - 1) / 2)
    factor: Floats = np.sqrt(2 / (n - 1)) * np.exp(logs)
    return factor


def _notes(n_participants: int, square: float) -> tuple[str, ...]:
    """Return what the numbers need said."""
    said = []
    if n_participants == 1:
        said.append("One participant: these numbers have no interval over people.")
    elif n_participants < 4:
        said.append(
            f"{n_participants} participants only: the intervals are wide and hard to check."
        )
    if square < 0:
        said.append(
            "The test instrument varies less than the reference: w² - r² is negative and has no "
            "square root. Smoothing, or an error that opposes the movement, can do this."
        )
    return tuple(said)
