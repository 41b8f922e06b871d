"""A recording that a run reads in stretches: its cycles as daily life has them.

The page reads it whole. A stride without a reference counts in daily life, though not in the
agreement, so that it can be decided on.
"""

from __future__ import annotations

from dataclasses import replace

from twinangle.analysis.daily_life import of_the_whole
from twinangle.cycles.judge import lacks_reference
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet


def cycles_of_the_day(judged: CycleSet | None, alone: CycleSet | None) -> CycleSet | None:
    """Return the cycles, those without a reference judged by the wearable alone.

    Parameters
    ----------
    judged : CycleSet or None
        The cycles judged with the reference; None where there are none.
    alone : CycleSet or None
        The same cycles judged without it.
    """
    if judged is None or alone is None or len(judged.reason) != len(alone.reason):
        return alone if judged is None else judged
    reason = tuple(
        own if lacks_reference(text) else text
        for text, own in zip(judged.reason, alone.reason, strict=True)
    )
    return replace(judged, reason=reason)


def results_of_the_day(results: tuple[TrialResult, ...]) -> tuple[TrialResult, ...]:
    """Return results that do not warn that cycles without a reference count nowhere."""
    return tuple(replace(one, warnings=of_the_whole(one.warnings)) for one in results)
