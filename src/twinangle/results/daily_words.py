"""What a recording of a day or a week holds, and which part of it the other numbers are of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from twinangle.results.grouping import Key, key_of
from twinangle.wording import count, listing, span

if TYPE_CHECKING:
    from collections.abc import Sequence

    from twinangle.cycles.daily_life import DailyLife
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

IN_MINUTES_S = 7200.0  # up to two hours are told in minutes
NEARLY_A_DAY_H = 20.0  # a day with fewer hours tells no strides a day. Own rule


def daily_sentence(results: StudyResults) -> str:
    """Say which part of long recordings the numbers rest on, and what the whole holds.

    Of several wearables or procedures the first that found something speaks for a recording; empty
    where no recording was read in stretches.
    """
    first: dict[Key, TrialResult] = {}
    for trial in results.trials:
        if trial.daily is not None:
            first.setdefault(key_of(trial), trial)
    days = [trial.daily for trial in first.values() if trial.daily is not None]
    if not days:
        return ""
    of_whole = _whole(days)
    by = {trial.shown for trial in results.trials if trial.daily is not None}
    names = listing(dict.fromkeys(trial.shown for trial in first.values()))
    said = f" (by {names})" if len(by) > 1 else ""
    recordings = "whole recording holds" if len(days) == 1 else f"{len(days)} whole recordings hold"
    part = _part(list(first.values()))
    lead = f"{part}; the" if part else "The"
    return f"{lead} {recordings} {of_whole}{said}: see “Daily life”."


def _part(trials: Sequence[TrialResult]) -> str:
    """Say from when to when the cycles are that the other numbers rest on."""
    kept = [
        (float(cycles.start_s[cycles.kept][0]), float(cycles.end_s[cycles.kept][-1]))
        for trial in trials
        if (cycles := trial.cycles) is not None and cycles.kept.any()
    ]
    if not kept:
        return ""
    low, high = min(begin for begin, _ in kept), max(end for _, end in kept)
    one = len(trials) == 1
    seen = any(t.cycles is not None and t.cycles.reference_deg is not None for t in trials)
    of = "with a reference" if seen else "read first"
    where = "from" if one else "within"
    if high <= IN_MINUTES_S:
        ends = f"{low / 60.0:.1f} to {high / 60.0:.1f} min"
    else:
        ends = f"{low / 3600.0:.2f} to {high / 3600.0:.2f} h"
    whose = "the recording" if one else "each recording"
    return f"These cycles are of the part of {whose} {of}, {where} {ends}"


def _whole(days: Sequence[DailyLife]) -> str:
    hours = sum(one.recorded_h for one in days)
    n_bouts = sum(len(one.bouts) for one in days)
    minutes = sum(day.walking_min for one in days for day in one.days)
    strides = count(sum(one.n_strides for one in days), "stride")
    nearly = [day for one in days for day in one.days if day.recorded_h >= NEARLY_A_DAY_H]
    a_day = (
        f" ({span((float(day.n_strides) for day in nearly), 0)} a day on "
        f"{count(len(nearly), 'day')} with at least {NEARLY_A_DAY_H:g} h)"
        if nearly
        else ""
    )
    return f"{hours:.1f} h, {count(n_bouts, 'bout')} of {minutes:.0f} min and {strides}{a_day}"
