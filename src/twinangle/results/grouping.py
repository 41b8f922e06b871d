"""The trials of a run in the order and groups that its report and figures show them in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from twinangle.cycles.judge import lacks_reference
from twinangle.wording import file_name, unique_names

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

Key = tuple[str, ...]  # participant, session, condition, trial, side; and the wearable, if several


def key_of(trial: TrialResult) -> Key:
    """Return what names a recording, whatever the procedure."""
    return (trial.participant, trial.session, trial.condition, trial.trial, trial.side)


def key_with_wearable(trial: TrialResult) -> Key:
    """Return what names one wearable's recording: with its name where there are several."""
    return (*key_of(trial), trial.wearable) if trial.wearable else key_of(trial)


@dataclass(frozen=True, slots=True, eq=False)
class TrialGroup:
    """One recording under every procedure, in the study's order of procedures."""

    results: tuple[TrialResult, ...]
    stem: str  # plain and unique: the start of its figures' file names

    @property
    def main(self) -> TrialResult:
        """Return the result whose figures are drawn: the first that worked, else the first."""
        return next((result for result in self.results if result.status == "ok"), self.results[0])

    @property
    def worked(self) -> tuple[TrialResult, ...]:
        """Return the results that hold numbers."""
        return tuple(result for result in self.results if result.status == "ok")


def distinct(items: Iterable[str]) -> tuple[str, ...]:
    """Return the items without repeats, in order of first appearance."""
    return tuple(dict.fromkeys(items))


def trial_groups(results: StudyResults, *, by_wearable: bool = True) -> tuple[TrialGroup, ...]:
    """Return one group a recording, in the order of the run.

    Several wearables that record together are as many recordings, unless `by_wearable` is false.
    """
    return grouped(results.trials, key_with_wearable if by_wearable else key_of)


def grouped(
    trials: Iterable[TrialResult],
    key: Callable[[TrialResult], Key] = key_with_wearable,
    stems: Mapping[Key, str] | None = None,
) -> tuple[TrialGroup, ...]:
    """Return trials in groups of one key each, in order of first appearance.

    `stems` are the starts of file names where they are known, as they depend on all of a study.
    """
    groups: dict[Key, list[TrialResult]] = {}
    for trial in trials:
        groups.setdefault(key(trial), []).append(trial)
    known = stems_of(groups) if stems is None else stems
    return tuple(TrialGroup(tuple(members), known[each]) for each, members in groups.items())


def worked_recordings(results: StudyResults) -> list[TrialResult]:
    """Return the main result of every trial that worked."""
    return [group.main for group in trial_groups(results) if group.main.status == "ok"]


def stems_of(keys: Iterable[Key]) -> dict[Key, str]:
    """Return the start of the figures' file names of each recording of a study."""
    named = {key: file_name(key[0], key[2], f"s{key[1]}", f"t{key[3]}", *key[4:]) for key in keys}
    return dict(zip(named, unique_names(named.values()), strict=True))


def procedures(results: StudyResults) -> tuple[str, ...]:
    """Return the procedures of the run, the main one first."""
    return distinct(trial.procedure for trial in results.trials)


def conditions(results: StudyResults) -> tuple[str, ...]:
    """Return the conditions of the run, in order of first appearance."""
    return distinct(trial.condition for trial in results.trials)


def participants(results: StudyResults) -> tuple[str, ...]:
    """Return the participants' codes, in order of first appearance."""
    return distinct(trial.participant for trial in results.trials)


class Naming:
    """Names recordings by only those identifiers that vary within the study."""

    def __init__(self, results: StudyResults) -> None:
        keys = [key_of(trial) for trial in results.trials]
        self._session = len({key[1] for key in keys}) > 1
        self._trial = len({key[3] for key in keys}) > 1
        self._side = len({key[4] for key in keys}) > 1

    def recording(self, trial: TrialResult) -> str:
        """Return session, trial and side as far as they vary: `session 2, left`."""
        parts = (
            f"session {trial.session}" if self._session and trial.session else "",
            f"trial {trial.trial}" if self._trial and trial.trial else "",
            trial.side if self._side else "",
        )
        return ", ".join(part for part in parts if part)

    def heading(self, trial: TrialResult, *, wearable: bool = True) -> str:
        """Return a recording's heading on its participant's page: `indoor, left`.

        The wearable is named where there are several, unless `wearable` is false.
        """
        rest = ", ".join(filter(None, (self.recording(trial), trial.wearable * wearable)))
        return f"{trial.condition or 'recording'}, {rest}" if rest else trial.condition or rest


def warnings_of(trial: TrialResult) -> tuple[str, ...]:
    """Return a trial's warnings, those of its synchronisation and cycles included, each once."""
    found = [*trial.warnings]
    for part in (trial.synchronisation, trial.cycles):
        found += part.warnings if part is not None else ()
    return distinct(found)


def cycles_left_out(results: StudyResults) -> Mapping[str, Mapping[str, int]]:
    """Return how many cycles were left out for each kind of reason, by procedure.

    Gaps of the reference are counted apart from those of the wearable.
    """
    names = procedures(results)
    tally: dict[str, dict[str, int]] = {}
    for trial in results.trials:
        for reason in trial.cycles.reason if trial.cycles is not None else ():
            if reason:
                kind = "no reference" if lacks_reference(reason) else reason_kind(reason)
                row = tally.setdefault(kind, dict.fromkeys(names, 0))
                row[trial.procedure] += 1
    return dict(sorted(tally.items()))


def reason_kind(reason: str) -> str:
    """Return a reason without its figures, so that like reasons are counted together.

    What follows a colon, an opening bracket or a semicolon is the single cycle's detail.
    """
    kind = reason
    for mark in (":", " (", ";"):
        kind = kind.split(mark, 1)[0]
    return kind.strip() or reason
