"""What was decided on a study, and what its pages decide: on which instruments, and when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, cast, get_args

import twinangle
from twinangle.errors import StudyError
from twinangle.naming import listed
from twinangle.review.looked_at import Unit, rests_on
from twinangle.study import Decision, Study, Trial, apply_decisions
from twinangle.study.decided import ACTING
from twinangle.study.decision_scope import unfit_names
from twinangle.study.decisions import (
    EVERY_RECORDING,
    append_decision,
    check_decision,
    check_who,
    digest_of_file,
    files_hashed,
    moment,
    read_decisions,
    recording_hash,
)

Holds = Literal["pair", "wearable", "reference", "all"]
"""What a decision is to hold for, seen from one wearable against one reference."""

# Of each kind: what it may hold for, the first where nothing is said.
HOLDS: dict[str, tuple[Holds, ...]] = {
    "lag": ("pair",),
    "looked": ("pair",),
    "interval": ("wearable",),
    "cycle": ("wearable", "pair"),
    "recording": ("all", "wearable", "reference", "pair"),
    "undo": ("all",),
}


def holds_for(unit: Unit, kind: str, holds: str) -> tuple[str, str]:
    """Return the names of the wearable and the reference that a decision is about.

    Raises
    ------
    StudyError
        If decisions of this kind cannot hold for that.
    """
    accepted = HOLDS.get(kind, get_args(Holds))
    holds = holds or accepted[0]
    if holds not in accepted:
        raise StudyError(
            f"`holds` is {holds!r}; accepted for kind {kind!r}: {listed(accepted, last='or')}."
        )
    wearable = unit.wearable if holds in ("pair", "wearable") else ""
    return wearable, unit.reference if holds in ("pair", "reference") else ""


class FilesSeen:
    """The files as they were looked at: each one's hash, taken once.

    Parameters
    ----------
    study : Study
        As its files have it, without decisions.
    """

    def __init__(self, study: Study) -> None:
        self._study = study
        self._digests: dict[Path, str] = {}

    def hash_of(self, _: Study, trial: Trial, wearable: str = "", reference: str = "") -> str:
        """Return the hash of a recording's files as they were looked at."""
        row = next(one for one in self._study.trials if one.row == trial.row)
        return recording_hash(self._study, row, wearable, reference, digest=self._digest)

    def changed(self, trial: Trial, wearable: str, reference: str) -> bool:
        """Tell whether files are not those that were looked at; from now on they are."""
        paths = {path for _, path in files_hashed(self._study, trial, wearable, reference)}
        now = {path: digest_of_file(self._study, path) for path in paths}
        before = {path: self._digests.get(path) for path in paths}
        self._digests |= now
        return any(before[path] not in (None, digest) for path, digest in now.items())

    def _digest(self, study: Study, path: Path) -> str:
        if path not in self._digests:
            self._digests[path] = digest_of_file(study, path)
        return self._digests[path]


class Decided:
    """Every decision on a study, and the study with those that are to count.

    Parameters
    ----------
    bare : Study
        As its files have it, without decisions.
    units : sequence of Unit
        What is looked at.
    files : FilesSeen
        The files as they were looked at.
    """

    def __init__(self, bare: Study, units: Sequence[Unit], files: FilesSeen) -> None:
        self._bare = bare
        self._units = units
        self._files = files
        self.every = read_decisions(bare.folder)
        self.study = self._applied()

    def _applied(self) -> Study:
        return apply_decisions(self._bare, self.every, hash_of=self._files.hash_of)

    def judge_again(self) -> None:
        """Ask again which decisions count, as where a file has changed."""
        self.study = self._applied()

    def take_in(self, found: tuple[Decision, ...]) -> set[int] | None:
        """Take in what the file of decisions holds by now.

        Returns
        -------
        set of int or None
            The units that new decisions touch; None where there is nothing new.
        """
        known = {each.id for each in self.every}
        new = [each for each in found if each.id not in known]
        if not new:
            return None
        self.every = found
        self.study = self._applied()
        undone = _undone_by(new, found)
        touched = [
            each.decision
            for each in self.study.decisions
            if each.decision.kind in ACTING
            and (each.decision.id in {one.id for one in new} or each.decision.id in undone)
        ]
        return {
            k
            for k in range(len(self._units))
            if any(rests_on(self._units, k, one) for one in touched)
        }

    def made(
        self, number: int, kind: str, value: Any, *, why: str, who: str, holds: str
    ) -> Decision:
        """Return a decision as it would be written.

        Raises
        ------
        StudyError
            If it says nothing definite.
        """
        unit = self._units[number]
        wearable, reference = holds_for(unit, kind, holds)
        decision = Decision(
            who=who,
            recording=unit.label,
            kind=cast(Any, kind),
            value=value if isinstance(value, dict) else {},
            why=why,
            input=self._files.hash_of(self._bare, self._bare.trials[unit.at], wearable, reference),
            version=twinangle.__version__,
            when=moment(),
            wearable=wearable,
            reference=reference,
        )
        try:
            check_decision(replace(decision, why=decision.why or "previewed"))
        except ValueError as error:
            raise StudyError(f"{error}.") from None
        if unfit := unfit_names(self._bare, decision):
            raise StudyError(f"{unfit[:1].upper()}{unfit[1:]}.")
        return decision

    def append(self, decision: Decision) -> Decision:
        """Write a decision to the end of the file."""
        return append_decision(self._bare.folder, decision)

    def note_blindness(self, who: str, *, on: bool) -> None:
        """Note from when on the agreement is hidden from a person, or shown again.

        Raises
        ------
        StudyError
            If the person is no code.
        """
        try:
            check_who(who)
        except ValueError as error:
            raise StudyError(f"{error}.") from None
        last = [d for d in self.every if d.kind == "blind" and d.who == who]
        if on != (bool(last[-1].value["on"]) if last else False):
            self.append(
                Decision(
                    who=who,
                    recording=EVERY_RECORDING,
                    kind="blind",
                    value={"on": on},
                    version=twinangle.__version__,
                    when=moment(),
                )
            )

    def records(self) -> list[dict[str, Any]]:
        """Return every decision in order, whether it stands, and the units that it is about."""
        by_id = {each.decision.id: each.decision for each in self.study.decisions}
        return [
            each.decision.to_record()
            | {"stands": each.stands, "why_not": each.why_not}
            | {"units": self._units_of(_subject(each.decision, by_id))}
            for each in self.study.decisions
        ]

    def _units_of(self, decision: Decision) -> list[int]:
        return [k for k, unit in enumerate(self._units) if unit.is_about(decision)]


def _subject(decision: Decision, by_id: dict[int, Decision]) -> Decision:
    """Return what a decision is about: of an undo, that which it undoes."""
    while decision.kind == "undo":
        decision = by_id[int(decision.value["of"])]
    return decision


def _undone_by(new: Iterable[Decision], every: tuple[Decision, ...]) -> set[int]:
    """Return what new undos change: what they undo, and what an undone undo brings back."""
    of = {each.id: int(each.value["of"]) for each in every if each.kind == "undo"}
    changed: set[int] = set()
    for each in new:
        number: int | None = each.id
        while (number := of.get(number) if number is not None else None) is not None:
            changed.add(number)
    return changed
