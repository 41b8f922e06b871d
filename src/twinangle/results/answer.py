"""What the answer on the first page rests on: whose recordings, and which rows of the topics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from twinangle.declare import UNDER_TEST, number
from twinangle.results.decided import BY_HAND
from twinangle.results.grouping import Key, conditions, distinct, key_of, procedures
from twinangle.results.not_recorded import is_not_recorded
from twinangle.results.pooled import named
from twinangle.under_test import parts_of

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

WORKED = ("ok", "pooled")


@dataclass(frozen=True, slots=True)
class Counted:
    """How many people, recordings and kept cycles some results are of, one result a recording."""

    n_participants: int
    n_recordings: int
    n_cycles: int


@dataclass(frozen=True, slots=True)
class Rests:
    """What the numbers of one procedure rest on; of several instruments, of one pair of them.

    `n_recordings` are those that were made with its instruments, of whatever became of them.
    """

    n_recordings: int
    n_pooled: int
    n_failed: int
    n_excluded: int
    n_by_hand: int
    worked: Counted
    with_reference: Counted


@dataclass(frozen=True, slots=True)
class Answer:
    """What the main numbers rest on, and where they stand in the topics.

    Counts are those of the main procedure, and so of one wearable and reference where there are
    several, but for `n_recordings` and `n_failed`, which are of the whole run.
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
    def n_meant(self) -> int:
        """Recordings that the study meant to use under the main procedure."""
        return self.n_analysed + self.n_failed_main

    @property
    def n_made(self) -> int:
        """Recordings made with the main procedure's instruments, whatever became of them."""
        return self.n_meant + self.n_excluded + self.n_by_hand


def answer_of(results: StudyResults) -> Answer:
    """Return what the answer rests on."""
    recordings = _recordings(results)
    seen = distinct(trial.condition for trial in results.trials if has_reference(trial))
    pooled = [key for key, _ in named(results.limits)]
    procedure = _main_procedure(results, [key[0] for key in pooled])
    rests = rests_of(results, procedure)
    own = _own_results(recordings, procedure)
    good = {trial.condition for trial in own if trial.status in WORKED}
    return Answer(
        n_participants=rests.worked.n_participants,
        n_recordings=len(recordings),
        n_analysed=rests.worked.n_recordings,
        n_pooled=rests.n_pooled,
        n_failed=sum(map(_failed_altogether, recordings)),
        n_failed_main=rests.n_failed,
        n_excluded=rests.n_excluded,
        n_by_hand=rests.n_by_hand,
        n_with_reference=rests.with_reference.n_recordings,
        n_participants_with_reference=rests.with_reference.n_participants,
        n_cycles=rests.worked.n_cycles,
        n_cycles_with_reference=rests.with_reference.n_cycles,
        procedure=procedure,
        condition=next((key[1] for key in pooled if key[0] == procedure), "") if pooled
        else next(iter(seen), ""),
        with_reference=seen,
        without_reference=tuple(c for c in conditions(results) if c in good and c not in seen),
    )  # fmt: skip


def rests_of(results: StudyResults, procedure: str, condition: str | None = None) -> Rests:
    """Return what the numbers of a procedure rest on, in all conditions or in one."""
    own = [
        trial
        for trial in _own_results(_recordings(results), procedure)
        if condition in (None, trial.condition) and not is_not_recorded(trial)
    ]
    worked = [trial for trial in own if trial.status in WORKED]
    excluded = [trial.reason for trial in own if trial.status == "excluded"]
    by_hand = sum(reason.startswith(BY_HAND) for reason in excluded)
    return Rests(
        n_recordings=len(own),
        n_pooled=sum(trial.status == "pooled" for trial in own),
        n_failed=sum(trial.status == "failed" for trial in own),
        n_excluded=len(excluded) - by_hand,
        n_by_hand=by_hand,
        worked=_counted(worked),
        with_reference=_counted([trial for trial in worked if has_reference(trial)]),
    )


def rests_alike(results: StudyResults) -> list[tuple[tuple[str, ...], Rests]]:
    """Return what every procedure's numbers rest on, those that rest on as much together.

    One entry where all do, as in most studies of one wearable. A pair of instruments stands for
    its procedures where all of them rest on as much.
    """
    every = list(filter(None, procedures(results)))
    found: dict[Rests, list[str]] = {}
    for name in every:
        found.setdefault(rests_of(results, name), []).append(name)
    return [(pairs_for_all(names, every), rests) for rests, names in found.items()]


def pairs_for_all(names: Sequence[str], every: Sequence[str]) -> tuple[str, ...]:
    """Return names, those of a pair of instruments as the pair where all of it are among them."""
    shown = []
    for name in names:
        wearable, _, reference = parts_of(name)
        pair = f"{wearable} against {reference}" if wearable and reference else wearable
        own = [one for one in every if parts_of(one)[::2] == (wearable, reference)]
        shown.append(pair if pair and set(own) <= set(names) else name)
    return distinct(shown)


def n_analysed_by_any(results: StudyResults) -> int:
    """Return how many recordings at least one procedure, wearable and reference could analyse."""
    return sum(any(t.status in WORKED for t in several) for several in _recordings(results))


def has_reference(trial: TrialResult) -> bool:
    """Tell whether a recording has curves of the reference, its own or to be pooled."""
    return trial.cycles is not None and trial.cycles.reference_deg is not None


def _main_procedure(results: StudyResults, pooled: Sequence[str]) -> str:
    """Return the first procedure, as the study has them, with limits; else the first that worked.

    Limits come in the order of the recordings that gave them: a first recording that failed would
    put another procedure before the study's first.
    """
    worked = {trial.procedure for trial in results.trials if trial.status in WORKED}
    wanted = set(pooled) or worked
    return next((name for name in procedures(results) if name in wanted), "")


def _recordings(results: StudyResults) -> list[list[TrialResult]]:
    """Return the results of each recording together, whatever the instruments."""
    found: dict[Key, list[TrialResult]] = {}
    for trial in results.trials:
        found.setdefault(key_of(trial), []).append(trial)
    return list(found.values())


def _own_results(recordings: Sequence[Sequence[TrialResult]], procedure: str) -> list[TrialResult]:
    """Return what each recording gave under a procedure; its first result where it names none."""
    return [
        next((trial for trial in several if trial.procedure == procedure), several[0])
        for several in recordings
    ]


def _failed_altogether(several: Sequence[TrialResult]) -> bool:
    """Tell whether a recording failed under every procedure that it was meant to be used for."""
    status = {trial.status for trial in several if not is_not_recorded(trial)}
    return status == {"failed"}


def _counted(trials: Sequence[TrialResult]) -> Counted:
    return Counted(
        n_participants=len({trial.participant for trial in trials}),
        n_recordings=len(trials),
        n_cycles=sum(int(t.cycles.kept.sum()) for t in trials if t.cycles is not None),
    )
