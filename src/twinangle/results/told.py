"""What a run warns of and leaves out, put together: a line for what many recordings share."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from twinangle.notices import GRAVITIES, OTHER, Gravity, gravity_of, kind_of
from twinangle.results.grouping import Naming, distinct, key_of, procedures, warnings_of
from twinangle.results.model import StudyResults, TrialResult

_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that is told of one recording or of many.

    Attributes
    ----------
    text : str
        As it is told of the first of them.
    gravity : str
        "grave", "warning" or "note".
    varies : bool
        Whether it is told in other words or with other numbers of others.
    places : tuple of str
        The recordings, each once, with the procedures where it is not told of all.
    """

    text: str
    gravity: Gravity
    varies: bool
    places: tuple[str, ...]


def warnings_told(results: StudyResults) -> tuple[Told, ...]:
    """Return the warnings of all trials, like ones together: the gravest and most frequent first.

    Those of one kind are alike, and texts without a kind that differ in numbers alone.
    """
    naming = Naming(results)
    alike: dict[tuple[str, str], list[tuple[str, TrialResult]]] = {}
    for trial in results.trials:
        for text in warnings_of(trial):
            kind = kind_of(text)
            masked = _NUMBER.sub("#", text) if kind == OTHER else ""
            alike.setdefault((kind, masked), []).append((text, trial))
    found = [_told(members, naming, len(procedures(results))) for members in alike.values()]
    return tuple(
        sorted(found, key=lambda each: (-GRAVITIES.index(each.gravity), -len(each.places)))
    )


def _told(members: list[tuple[str, TrialResult]], naming: Naming, n_procedures: int) -> Told:
    by_recording: dict[tuple[str, ...], list[TrialResult]] = {}
    for _, trial in members:
        by_recording.setdefault(key_of(trial), []).append(trial)
    places = []
    for trials in by_recording.values():
        used = distinct(trial.procedure for trial in trials)
        where = f"{trials[0].participant} {naming.heading(trials[0])}".strip()
        places.append(where if len(used) == n_procedures else f"{where} ({', '.join(used)})")
    text = members[0][0]
    gravest = max((gravity_of(each) for each, _ in members), key=GRAVITIES.index)
    return Told(text, gravest, any(other != text for other, _ in members), tuple(places))


def cycles_left_out(results: StudyResults) -> Mapping[str, Mapping[str, int]]:
    """Return how many cycles were left out for each kind of reason, by procedure."""
    names = procedures(results)
    tally: dict[str, dict[str, int]] = {}
    for trial in results.trials:
        for reason in trial.cycles.reason if trial.cycles is not None else ():
            if reason:
                row = tally.setdefault(reason_kind(reason), dict.fromkeys(names, 0))
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
