"""Error budgets over participants: the mean of each part, with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from twinangle.agreement._budget_parts import (
    FEWEST,
    PARTS,
)
from twinangle.agreement._from_frame import by_trial, only_with_table
from twinangle.agreement._input import fraction
from twinangle.agreement._participants import log_mean_interval
from twinangle.agreement._result import counted, interval, quantity
from twinangle.agreement.budget import (
    PART_WORDS,
    BudgetParts,
    ErrorBudget,
    error_budget,
    part_assumptions,
    roots,
)
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class PooledBudget(BudgetParts):
    """Means of several participants' error budgets, each counting the same, and each of them.

    Intervals are over participants; NaN below 4, or where the part is 0 in all of them.
    """

    n_participants: Annotated[int, number("participants: budgets averaged")]
    budgets: Annotated[tuple[ErrorBudget, ...], number("each participant's budget")]
    confidence: Annotated[float, number("confidence of the intervals")]
    assumptions: Annotated[tuple[str, ...], number("what the parts mean")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        share = self.total if self.total > 0 else 1.0
        parts = ", ".join(
            f"{PART_WORDS.get(name, name)} {100 * getattr(self, name) / share:.0f} %"
            for name in PARTS
        )
        return (
            f"Root mean square difference {quantity(float(np.sqrt(self.total)), unit)} "
            f"({interval(roots(self.total_ci), unit, self.confidence)}) over "
            f"{counted(self.n_participants, 'participant')}: {parts}."
        )


def pool_budgets(
    budgets: Sequence[ErrorBudget] | None = None,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    test: str | None = None,
    reference: str | None = None,
    participant: str | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> PooledBudget:
    """Average error budgets, one a participant.

    Parameters
    ----------
    budgets : sequence of ErrorBudget
        At least one. The mean of each participant's budget, so an offset that differs in sign
        between participants stays in the offset part. Left out with `data`.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a point, of which :func:`error_budget` is taken for each participant.
    test, reference, participant : str, optional
        Its columns of the two instruments, and of whose each row is.
    cycle, point : str
        Its columns of the cycle (or several that tell a participant's cycles apart) and of
        the point within it.

    Returns
    -------
    PooledBudget

    Raises
    ------
    ValueError
        If there is none, or `confidence` is not between 0 and 1.

    Notes
    -----
    Intervals: participants are what is sampled. A part is a mean over participants of numbers
    that are not negative, so its logarithm is taken: mean × exp(∓ t e), Student's t on k - 1
    degrees of freedom, e² the relative variance of the mean as in `limits_of_agreement`.
    """
    confidence = fraction(confidence, "confidence")
    only_with_table(data, "budgets", test=test, reference=reference, participant=participant)
    if data is not None:
        if budgets is not None:
            raise ValueError("give `budgets`, or `data` with `test` and `reference`, not both.")
        how: dict[str, Any] = {"cycle": cycle, "point": point, "confidence": confidence}
        both: tuple[Any, Any] = (test, reference)
        parts = by_trial(data, None, participant=participant, test=test, reference=reference)
        budgets = [error_budget(*both, data=part, **how) for _, part in parts]
    if not budgets:
        raise ValueError("`budgets` is empty; at least one budget is needed.")
    values = {
        name: np.array([getattr(one, name) for one in budgets], dtype=np.float64)
        for name in ("total", *PARTS)
    }
    found: dict[str, Any] = {name: float(each.mean()) for name, each in values.items()}
    found |= {f"{name}_ci": log_mean_interval(each, confidence) for name, each in values.items()}
    return PooledBudget(
        **found,
        n_participants=len(budgets),
        budgets=tuple(budgets),
        confidence=confidence,
        assumptions=("Every budget counts the same.", *_said(budgets)),
    )


def _said(budgets: Sequence[ErrorBudget]) -> tuple[str, ...]:
    """Return what is to be said of the means: that parts add up, and what is not told apart."""
    unclear = sum(one.shared for one in budgets) > 0.1 * sum(one.total for one in budgets)
    return part_assumptions(FEWEST, drifts=False, unclear=unclear)[: 2 if unclear else 1]
