"""Intervals of ratio and difference of the SDs over cycles under two conditions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.agreement.condition_spread import (
    ConditionSpread,
    PairedSpread,
    one_participant_spread,
)
from twinangle.agreement.condition_trials import (
    Cycles,
)
from twinangle.agreement.variability import CycleVariability, cycle_variability


def spread_intervals(found: PairedSpread) -> tuple[float, Interval, float, Interval]:
    """Return difference and ratio, each with its interval; NaN where there is none."""
    log, log_half = float(found.log_ratio), float(found.log_half)
    bounds = float(found.low), float(found.high)
    return (float(found.difference), bounds, *_ratio(log, log_half))


def _ratio(log: float, half: float) -> tuple[float, Interval]:
    """Return a ratio and its interval from the logarithm; NaN where that is not finite."""
    if not np.isfinite(log):
        return float("nan"), NO_INTERVAL
    return float(np.exp(log)), (float(np.exp(log - half)), float(np.exp(log + half)))


def of_one_participant(
    cycles: Cycles,
    spread: ConditionSpread,
    person: str,
    pair: tuple[str, str],
    confidence: float,
) -> tuple[tuple[float, Interval, float, Interval], str]:
    """Return one participant's numbers with intervals over cycles, and what these are over."""
    against, other = (
        _log_half([cycle_variability(each, confidence=confidence) for each in cycles[person, name]])
        for name in pair
    )
    log, half, difference, bounds = one_participant_spread(spread, (against, other))
    over = "cycles of one participant" if np.isfinite(half) else "nothing"
    return (difference, bounds, *_ratio(log, half)), over


def _log_half(trials: Sequence[CycleVariability]) -> float:
    """Return the half-width of the interval of the mean over trials of ln SD."""
    halves = [np.log(one.sd_ci[1] / one.sd_ci[0]) / 2 for one in trials]
    return float(np.sqrt(np.sum(np.square(halves))) / len(halves))
