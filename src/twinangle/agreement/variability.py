"""Cycle-to-cycle variability of one instrument, and of two on the same cycles."""

from __future__ import annotations

from dataclasses import dataclass

from twinangle.agreement._input import Floats
from twinangle.agreement._result import Interval, Result


@dataclass(frozen=True, slots=True, eq=False)
class CycleVariability(Result):
    """Standard deviation over cycles, at each point and averaged over the points."""

    sd: float
    sd_ci: Interval
    sd_curve: Floats
    mean_curve: Floats
    n_cycles: int
    n_effective: float
    confidence: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class VariabilityComparison(Result):
    """Per-cycle standard deviation of two instruments on the same cycles of one participant."""

    test_sd: float
    reference_sd: float
    ratio: float
    ratio_ci: Interval
    difference: float
    difference_ci: Interval
    added_sd: float
    added_sd_ci: Interval
    n_cycles: int
    n_effective: float
    confidence: float
    assumptions: tuple[str, ...]
