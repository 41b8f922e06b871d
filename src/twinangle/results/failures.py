"""What failed: each failure of a recording once, and how many recordings of each wearable."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from twinangle.results.grouping import Key, distinct, key_of
from twinangle.results.not_recorded import is_not_recorded
from twinangle.under_test import parts_of, reference_of, wearable_of
from twinangle.wording import count, listing

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

_NAMES_A_FILE = re.compile(r"\.[A-Za-z]\w*(?=[ ,:;])")
_FIGURE = re.compile(r"(?<![\w.])[-+−]?\d+(?:\.\d+)?(?!\.?\w)")
_END = re.compile(r"(?<=\.)\s+(?=[A-Z(])")
_SENTENCE = re.compile(r"(?<=[.:])\s+(?=[A-Z])")


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a recording failed, told once, and what it failed by.

    `by` names a wearable where all of it failed so, else the procedures. `trial` is the first that
    is told so; `wearables` are those concerned.
    """

    trial: TrialResult
    by: tuple[str, ...]
    wearables: tuple[str, ...]
    reason: str


def failures(results: StudyResults) -> list[Failure]:
    """Return each failure of each recording once, in the order of the run.

    What is told of a file with other figures against another reference is one failure: the first
    wording stands, and says where the others are.
    """
    recorded: dict[Key, list[TrialResult]] = {}
    found: dict[tuple[Key, str], list[TrialResult]] = {}
    for trial in results.trials:
        if is_not_recorded(trial):
            continue
        recorded.setdefault(key_of(trial), []).append(trial)
        if trial.status == "failed":
            found.setdefault((key_of(trial), _likeness(trial.reason)), []).append(trial)
    return [_failure(alike, recorded[key]) for (key, _), alike in found.items()]


def failure_lines(results: StudyResults) -> tuple[str, ...]:
    """Return a line for each failure of each recording: whose, by what, and why."""
    return tuple(
        f"Failed: {one.trial.label} ({', '.join(one.by)}): {one.reason}"
        for one in failures(results)
    )


def in_short(reason: str) -> str:
    """Return what failed without what to do about it: the first sentence of a reason."""
    return _END.split(reason, maxsplit=1)[0]


def failed_by_wearable(results: StudyResults) -> str:
    """Say of several wearables how many recordings of each failed; empty where none did."""
    wearables = distinct(trial.wearable for trial in results.trials)
    if len(wearables) < 2 or all(trial.status != "failed" for trial in results.trials):
        return ""
    return f"Could not be analysed: {listing(_failed_of(results, wearables))}."


def _failed_of(results: StudyResults, wearables: Sequence[str]) -> Iterator[str]:
    """Yield how many recordings of each wearable failed, and how many in part."""
    for name in wearables:
        own: dict[Key, set[str]] = {}
        for trial in results.trials:
            if trial.wearable == name and not is_not_recorded(trial):
                own.setdefault(key_of(trial), set()).add(trial.status)
        whole = sum(status == {"failed"} for status in own.values())
        part = sum("failed" in status for status in own.values()) - whole
        said = f"{whole} of {count(len(own), 'recording')} of {name}"
        yield f"{said} and {part} more in part" if part else said


def _likeness(reason: str) -> str:
    """Return what two wordings of one failure have alike: of a file, all but the figures."""
    first = _SENTENCE.split(reason, maxsplit=1)[0]
    return _FIGURE.sub("#", first) if _NAMES_A_FILE.search(first) else reason


def _failure(alike: Sequence[TrialResult], recorded: Sequence[TrialResult]) -> Failure:
    first = alike[0]
    return Failure(
        trial=first,
        by=_named([trial.procedure for trial in alike], recorded),
        wearables=distinct(trial.wearable for trial in alike),
        reason=first.reason + _where_other_figures(alike),
    )


def _where_other_figures(alike: Sequence[TrialResult]) -> str:
    """Say of what the first wording is, and where the others stand; empty where all are one."""
    names = [trial.procedure for trial in alike]
    if len(distinct(map(reference_of, names))) > 1:
        how = [f"against {reference_of(name)}" for name in names]
    else:
        how = [f"by {name}" for name in names]
    others = [way for way, one in zip(how, alike, strict=True) if one.reason != alike[0].reason]
    if not others:
        return ""
    return f" (Figures are {how[0]}; those {listing(distinct(others))}: tables/trials.csv.)"


def _named(names: Sequence[str], recorded: Sequence[TrialResult]) -> tuple[str, ...]:
    """Return what failed: a wearable, or a pair of instruments, where nothing is missing of it."""
    every = {trial.procedure for trial in recorded}
    shown = []
    for name in names:
        wearable, _, reference = parts_of(name)
        whole = {one for one in every if wearable_of(one) == wearable}
        pair = {one for one in whole if reference_of(one) == reference}
        if wearable and whole <= set(names):
            shown.append(wearable)
        elif reference and pair <= set(names):
            shown.append(f"{wearable} against {reference}".lstrip())
        else:
            shown.append(name)
    return distinct(shown)
