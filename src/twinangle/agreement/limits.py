"""Limits of agreement, with participants as what is sampled."""

from __future__ import annotations

from dataclasses import dataclass

from twinangle.agreement._result import Interval, Result


@dataclass(frozen=True, slots=True, eq=False)
class LimitsOfAgreement(Result):
    """Bias and limits of agreement of test minus reference, with their intervals."""

    bias: float
    bias_ci: Interval
    sd: float
    sd_between: float
    sd_within: float
    lower: float
    lower_ci: Interval
    upper: float
    upper_ci: Interval
    n_participants: int
    n_observations: int
    method: str
    weighting: str
    interval_method: str
    coverage: float
    confidence: float
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
