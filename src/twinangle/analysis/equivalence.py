"""The pooled limits judged, by their own intervals, against the margin."""

from __future__ import annotations

from functools import partial

from twinangle.agreement.equivalence import Equivalence, judge_limits
from twinangle.analysis.groups import QUANTITIES, Group, Groups, pooled
from twinangle.analysis.limits import main_limits
from twinangle.options import Options
from twinangle.results.pooled import Pooled

NO_MARGIN = "no margin was stated beforehand (acceptable_deg under [agreement])."


def pool(groups: Groups, options: Options) -> tuple[Pooled[Equivalence], ...]:
    """Judge each procedure, condition and quantity; nothing without a margin."""
    return tuple(
        pooled(
            group,
            quantity,
            partial(_judged, group, quantity, options),
        )
        for group in groups.compared
        for quantity in QUANTITIES
    )


def _judged(group: Group, quantity: str, options: Options) -> Equivalence:
    if options.margin_deg is None:
        raise ValueError(NO_MARGIN)
    return judge_limits(main_limits(group, quantity, options), options.margin_deg)
