"""One condition against another, paired within participants."""

from __future__ import annotations

from dataclasses import dataclass

from twinangle.agreement._result import Interval, Result


@dataclass(frozen=True, slots=True, eq=False)
class ConditionDifference(Result):
    """How a quantity under one condition differs from another, over the same participants."""

    condition: str
    against: str
    n_participants: int
    difference: float
    difference_ci: Interval
    ratio: float
    ratio_ci: Interval
    confidence: float
    note: str
    assumptions: tuple[str, ...]
