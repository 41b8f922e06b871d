"""The pooled limits without each participant in turn."""

from __future__ import annotations

from functools import partial

from twinangle.agreement.sensitivity import Sensitivity, leave_one_out
from twinangle.analysis.groups import QUANTITIES, Group, Groups, pooled
from twinangle.options import Options
from twinangle.results.pooled import Pooled


def pool(groups: Groups, options: Options) -> tuple[Pooled[Sensitivity], ...]:
    """Leave each participant out in turn, for each procedure, condition and quantity."""
    return tuple(
        pooled(group, quantity, partial(_without_each, group, quantity, options))
        for group in groups.compared
        for quantity in QUANTITIES
    )


def _without_each(group: Group, quantity: str, options: Options) -> Sensitivity:
    points = group.cycles[quantity]
    return leave_one_out(points.difference, points.participant, confidence=options.confidence)
