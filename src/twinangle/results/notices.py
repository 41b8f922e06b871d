"""Warnings over all recordings: one row a kind, the gravest first, the worst as the example."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from twinangle.notices import GRAVITIES, OTHER, Gravity, gravity_of, kind_of, size_of
from twinangle.results.grouping import Key, Naming, distinct, key_of, warnings_of
from twinangle.under_test import wearable_of

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

FIRST = 3  # warnings that come before everything else
FOREMOST = ("strides-apart",)  # kinds without which no other matters: numbers of two joints
Told = tuple[str, "TrialResult"]


@dataclass(frozen=True, slots=True)
class NoticeRow:
    """One kind of warning or note, with every recording that it concerns.

    `text` is that of the worst recording, `worst`; `alike` says whether all say the same.
    `trials` names recordings in the order of the run, with the procedures where it is not all.
    """

    kind: str
    gravity: Gravity
    text: str
    worst: str
    trials: tuple[str, ...]
    n_recordings: int
    alike: bool


def grouped_notices(results: StudyResults) -> tuple[NoticeRow, ...]:
    """Return what was told of the recordings, a row a kind; notes of a kind apart from warnings.

    Parameters
    ----------
    results : StudyResults

    Returns
    -------
    tuple of NoticeRow
        The gravest first; of one gravity, `FOREMOST` first, then the kind that concerns most
        recordings, then in the order of the run. Texts without a kind have a row each.
    """
    found: dict[tuple[str, bool, str], list[Told]] = {}
    for trial in results.trials:
        for text in warnings_of(trial):
            kind = kind_of(text)
            key = (kind, gravity_of(text) == "note", str(text) if kind == OTHER else "")
            found.setdefault(key, []).append((text, trial))
    names = _Names(results)
    rows = [_row(key[0], each, names) for key, each in found.items()]
    return tuple(sorted(rows, key=_place))


def _place(row: NoticeRow) -> tuple[int, bool, int]:
    return -GRAVITIES.index(row.gravity), row.kind not in FOREMOST, -row.n_recordings


def gravest(rows: Iterable[NoticeRow], most: int = FIRST) -> tuple[NoticeRow, ...]:
    """Return the first few rows that are warnings; notes are not."""
    return tuple(row for row in rows if row.gravity != "note")[:most]


def named_recordings(row: NoticeRow, results: StudyResults, most: int | None = None) -> str:
    """Return the recordings of a row in words; "all 12 recordings" where it is all of them.

    Parameters
    ----------
    row : NoticeRow
    results : StudyResults
        The run that it is of.
    most : int, optional
        Names written out; the others are counted.
    """
    total = len({key_of(trial) for trial in results.trials if trial.status == "ok"})
    if row.n_recordings == total > 1 and not any(name.endswith(")") for name in row.trials):
        return f"all {total} recordings"
    shown = row.trials if most is None else row.trials[:most]
    more = len(row.trials) - len(shown)
    return "; ".join(shown) + (f" and {more} more" if more else "")


def foremost_sentence(results: StudyResults, most: int = 4) -> str:
    """Return what makes every other number doubtful, to stand before them; empty without it.

    Parameters
    ----------
    results : StudyResults
    most : int, optional
        Recordings written out; the others are counted.
    """
    row = next((row for row in grouped_notices(results) if row.kind in FOREMOST), None)
    if row is None:
        return ""
    return (
        f"Look at this first ({named_recordings(row, results, most)}): the instruments' strides do "
        "not vary together there, as where left and right were exchanged. The numbers below may be "
        "of two different joints; “What was left out and what to beware of” says what to look at."
    )


def warning_line(row: NoticeRow, results: StudyResults, most: int | None = None) -> str:
    """Return one kind of warning as a line: what is wrong, then whom it concerns.

    Where recordings are told different things, the worst is the example; of many, `most` are named.
    """
    lead = "Look at this first" if row.gravity == "grave" else "Warning"
    where = named_recordings(row, results, most)
    if row.n_recordings == 1:
        return f"{lead}: {where}: {row.text}"
    if row.alike:
        return f"{lead}: {row.text} Concerns {where}."
    return f"{lead}: {row.worst}: {row.text} This is the worst case; the warning concerns {where}."


class _Names:
    """Names recordings by what varies in the run, with procedures unless all that worked.

    Of several wearables, one is named alone where all that worked of it are concerned.
    """

    def __init__(self, results: StudyResults) -> None:
        self._naming = Naming(results)
        worked = [trial for trial in results.trials if trial.status == "ok"]
        self._worked = Counter(map(key_of, worked))
        self._of_wearable = Counter((key_of(trial), trial.wearable) for trial in worked)

    def of(self, told: Sequence[Told]) -> tuple[str, ...]:
        """Return each recording once, in order."""
        used: dict[Key, list[TrialResult]] = {}
        for _, trial in told:
            used.setdefault(key_of(trial), []).append(trial)
        return tuple(self._name(key, trials) for key, trials in used.items())

    def _name(self, key: Key, trials: Sequence[TrialResult]) -> str:
        by = distinct(trial.procedure for trial in trials)
        name = f"{trials[0].participant} {self._naming.heading(trials[0], wearable=False)}"
        if len(by) >= self._worked[key]:
            return name
        named = []
        for wearable in distinct(trial.wearable for trial in trials):
            own = [one for one in by if wearable_of(one) == wearable]
            whole = wearable and len(own) >= self._of_wearable[key, wearable]
            named += [wearable] if whole else own
        return f"{name} ({', '.join(named)})"


def _row(kind: str, told: Sequence[Told], names: _Names) -> NoticeRow:
    text, trial = max(told, key=lambda one: _badness(one[0]))  # the first of several alike
    same = [one for one in told if one[0] == text and key_of(one[1]) == key_of(trial)]
    return NoticeRow(
        kind=kind,
        gravity=gravity_of(text),
        text=str(text),
        worst=names.of(same)[0],
        trials=names.of(told),
        n_recordings=len({key_of(one) for _, one in told}),
        alike=len({str(one) for one, _ in told}) == 1,
    )


def _badness(text: str) -> tuple[int, float]:
    size = size_of(text)
    return GRAVITIES.index(gravity_of(text)), -math.inf if math.isnan(size) else size
