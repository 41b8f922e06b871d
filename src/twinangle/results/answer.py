"""What the answer on the first page rests on: whose recordings, and which rows of the topics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from twinangle.declare import UNDER_TEST, number
from twinangle.results.decided import BY_HAND
from twinangle.results.grouping import (
    TrialGroup,
    conditions,
    distinct,
    trial_groups,
)
from twinangle.results.pooled import named

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult


@dataclass(frozen=True, slots=True)
class Answer:
    """Counts of the whole run, and where the main numbers stand in the topics.

    A recording is counted once, whatever the number of procedures; cycles are those that its
    first procedure that worked keeps.
    """

    n_participants: Annotated[int, number("participants with a recording that was analysed")]
    n_recordings: Annotated[int, number("recordings in the trials table")]
    n_analysed: Annotated[int, number("recordings analysed")]
    n_pooled: Annotated[int, number("of these, short recordings whose cycles are pooled")]
    n_failed: Annotated[int, number("recordings that failed under every procedure")]
    n_failed_main: Annotated[int, number("recordings that failed under the main procedure")]
    n_excluded: Annotated[int, number("recordings excluded beforehand")]
    n_by_hand: Annotated[int, number("recordings that somebody took out after looking at them")]
    n_with_reference: Annotated[int, number("recordings analysed that have a reference")]
    n_participants_with_reference: Annotated[int, number("participants of those")]
    n_cycles: Annotated[int, number("cycles kept")]
    n_cycles_with_reference: Annotated[int, number("cycles kept that have a reference")]
    procedure: Annotated[str, number("the main procedure: the first that gave numbers"), UNDER_TEST]
    condition: Annotated[str, number("the first condition with a reference; empty without one")]
    with_reference: Annotated[tuple[str, ...], number("conditions that have a reference")]
    without_reference: Annotated[tuple[str, ...], number("conditions that have none")]

    @property
    def failed_share(self) -> float:
        """Share of the recordings that the study meant to use and that gave no main number."""
        meant = self.n_recordings - self.n_excluded - self.n_by_hand
        return self.n_failed_main / meant if meant else 0.0


def answer_of(results: StudyResults) -> Answer:
    """Return what the answer rests on."""
    groups = trial_groups(results, by_wearable=False)
    worked = [group.main for group in groups if group.main.status in ("ok", "pooled")]
    paired = [trial for trial in worked if has_reference(trial)]
    status = [group.main.status for group in groups]
    excluded = [group.main.reason for group in groups if group.main.status == "excluded"]
    by_hand = sum(reason.startswith(BY_HAND) for reason in excluded)
    seen = distinct(trial.condition for trial in results.trials if has_reference(trial))
    good = {trial.condition for trial in worked}
    pooled = [key for key, _ in named(results.limits)]
    procedure = pooled[0][0] if pooled else _first(worked)
    return Answer(
        n_participants=_people(worked),
        n_recordings=len(groups),
        n_analysed=len(worked),
        n_pooled=status.count("pooled"),
        n_failed=status.count("failed"),
        n_failed_main=sum(_fails(group, procedure) for group in groups),
        n_excluded=len(excluded) - by_hand,
        n_by_hand=by_hand,
        n_with_reference=len(paired),
        n_participants_with_reference=_people(paired),
        n_cycles=_kept(worked),
        n_cycles_with_reference=_kept(paired),
        procedure=procedure,
        condition=next((key[1] for key in pooled if key[0] == procedure), "") if pooled
        else next(iter(seen), ""),
        with_reference=seen,
        without_reference=tuple(c for c in conditions(results) if c in good and c not in seen),
    )  # fmt: skip


def _fails(group: TrialGroup, procedure: str) -> bool:
    """Tell whether a recording that was meant to be used gave nothing under a procedure."""
    own = [trial for trial in group.results if trial.procedure == procedure] or group.results
    return group.main.status != "excluded" and not any(t.status in ("ok", "pooled") for t in own)


def has_reference(trial: TrialResult) -> bool:
    """Tell whether a recording has curves of the reference, its own or to be pooled."""
    return trial.cycles is not None and trial.cycles.reference_deg is not None


def _people(trials: Sequence[TrialResult]) -> int:
    return len({trial.participant for trial in trials})


def _kept(trials: Sequence[TrialResult]) -> int:
    return sum(int(trial.cycles.kept.sum()) for trial in trials if trial.cycles is not None)


def _first(worked: Sequence[TrialResult]) -> str:
    return worked[0].procedure if worked else ""
