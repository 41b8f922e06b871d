"""Numbers of the mean curves over participants."""

from __future__ import annotations

from functools import partial

from twinangle.agreement.pooled_curves import PooledCurves, pool_curves
from twinangle.analysis.groups import Groups, pooled
from twinangle.options import Options
from twinangle.results.pooled import Pooled


def pool(groups: Groups, options: Options) -> tuple[Pooled[PooledCurves], ...]:
    """Return offset, RMS, range difference and correlation over participants."""
    return tuple(
        pooled(
            group,
            "",
            partial(
                pool_curves,
                [t.agreement for t in group.trials if t.agreement is not None],
                [t.participant for t in group.trials],
                confidence=options.confidence,
            ),
        )
        for group in groups.compared
    )
