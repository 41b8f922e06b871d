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
    compared = [
        (t.variability_compared, t.participant)
        for t in group.trials
        if t.variability_compared is not None
    ]
    if not compared:
        raise ValueError("no trial has the variability of both instruments.")
    return pool_variability(
        [one for one, _ in compared],
        [person for _, person in compared],
        confidence=options.confidence,
    )
