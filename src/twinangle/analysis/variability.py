"""Variability between the cycles of both instruments, over participants."""

from __future__ import annotations

from functools import partial

from twinangle.agreement.pooled_variability import PooledVariability, pool_variability
from twinangle.analysis.groups import Group, Groups, pooled
from twinangle.options import Options
from twinangle.results.pooled import Pooled


def pool(groups: Groups, options: Options) -> tuple[Pooled[PooledVariability], ...]:
    """Return the per-cycle SDs of both instruments over participants, and how they compare."""
    return tuple(pooled(group, "", partial(_pooled, group, options)) for group in groups.compared)


def _pooled(group: Group, options: Options) -> PooledVariability:
    trials = [t for t in group.trials if t.wearable_variability and t.reference_variability]
    if not trials:
        raise ValueError("no trial has the variability of both instruments.")
    return pool_variability(
        [t.wearable_variability for t in trials if t.wearable_variability],
        [t.reference_variability for t in trials if t.reference_variability],
        [t.participant for t in trials],
        confidence=options.confidence,
    )
