"""The pooled limits judged, by their own intervals, against the margin."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.equivalence import Equivalence, judge_limits
from twinangle.analysis import limits
from twinangle.analysis.groups import Groups, attempt
from twinangle.options import Options
from twinangle.results.limits import StudyLimits
from twinangle.results.pooled import Absent, Pooled

NO_MARGIN = "no margin was stated beforehand (acceptable_deg under [agreement])."


def pool(groups: Groups, options: Options) -> tuple[Pooled[Equivalence], ...]:
    """Judge each procedure, condition and quantity; nothing without a margin."""
    return judged(limits.pool(groups, options), options)


def judged(
    pooled: Sequence[Pooled[StudyLimits]], options: Options
) -> tuple[Pooled[Equivalence], ...]:
    """Judge limits that are there, so that another margin costs no computation of them.

    Parameters
    ----------
    pooled : sequence of Pooled
        What :func:`twinangle.analysis.limits.pool` returned.
    options : Options
        The margin is taken from there.
    """
    return tuple(
        Pooled(
            each.procedure,
            each.condition,
            each.quantity,
            attempt(lambda each=each: _of(each, options)),  # type: ignore[misc]
        )
        for each in pooled
    )


def _of(pooled: Pooled[StudyLimits], options: Options) -> Equivalence:
    if options.margin_deg is None:
        raise ValueError(NO_MARGIN)
    if pooled.absent is not None:
        raise ValueError(pooled.absent.reason)
    assert not isinstance(pooled.value, Absent)
    return judge_limits(pooled.value.limits, options.margin_deg)
