"""Every cycle that somebody took in or out, with the reason given."""

from __future__ import annotations

from collections.abc import Iterator

from twinangle.notices import kind_of
from twinangle.report.blocks import Block, bullets, heading, text
from twinangle.results import StudyResults, TrialResult
from twinangle.results.decided import BY_HAND
from twinangle.results.grouping import Naming
from twinangle.wording import count

MOST = 8  # cycles in the report; where there are more, the supplement has them all
KEPT = "cycle-kept-by-hand"


def cycles_by_hand_blocks(results: StudyResults) -> list[Block]:
    """Return the cycles taken in or out by hand, or where they stand if they are many."""
    lines = _lines(results)
    if not lines:
        return []
    head = heading("Cycles taken in or out by hand")
    if len(lines) > MOST:
        said = f"{count(len(lines), 'cycle')}, each with its reason in the supplement."
        return [head, text(said)]
    return [head, bullets(lines)]


def every_cycle_by_hand_section(results: StudyResults) -> list[Block]:
    """Return each of many cycles taken in or out by hand, with its reason."""
    lines = _lines(results)
    return [bullets(lines)] if len(lines) > MOST else []


def _lines(results: StudyResults) -> list[str]:
    """Return a line a cycle; procedures that share a recording's cycles are told once."""
    naming = Naming(results)
    return list(
        dict.fromkeys(
            f"{trial.participant}, {naming.heading(trial)}: {said}"
            for trial in results.trials
            for said in _of(trial)
        )
    )


def _of(trial: TrialResult) -> Iterator[str]:
    if trial.daily is not None:
        for one in trial.daily.by_hand:
            yield f"stride from {one.start_s:.2f} s {'in' if one.use else 'out'}: {one.why}"
        return
    cycles = trial.cycles
    if cycles is None:
        return
    for start_s, end_s, reason in zip(cycles.start_s, cycles.end_s, cycles.reason, strict=True):
        if reason.startswith(BY_HAND):
            yield f"cycle {start_s:.2f} to {end_s:.2f} s out: {reason.removeprefix(BY_HAND)}"
    yield from (told for told in cycles.warnings if kind_of(told) == KEPT)
