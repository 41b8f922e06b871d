"""The study that a page works on: what is seen, what was decided, what is still computed."""

from __future__ import annotations

import tempfile
import threading
from collections import OrderedDict
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, cast

import twinangle
from twinangle.errors import StudyError
from twinangle.review import sent
from twinangle.review.effect import Effects
from twinangle.review.look import Look, cycles_at, paired_at
from twinangle.review.pyramids import Traces
from twinangle.review.within import beyond
from twinangle.review.workers import Analyses
from twinangle.study import Study, Trial, apply_decisions
from twinangle.study.decided import ACTING
from twinangle.study.decisions import (
    EVERY_RECORDING,
    Decision,
    append_decision,
    check_decision,
    check_who,
    moment,
    read_decisions,
    recording_hash,
)

LOOKS = 4  # recordings whose traces are in memory


class HiddenError(Exception):
    """What was asked for is hidden while deciding blind."""


def _undone_by(new: list[Decision], every: tuple[Decision, ...]) -> set[int]:
    """Return what new undos change: what they undo, and what an undone undo brings back."""
    of = {each.id: int(each.value["of"]) for each in every if each.kind == "undo"}
    changed: set[int] = set()
    for each in new:
        number: int | None = each.id
        while (number := of.get(number) if number is not None else None) is not None:
            changed.add(number)
    return changed


class Session:
    """One study, looked at by one or more pages of this command.

    Parameters
    ----------
    bare : Study
        As its files have it, without decisions.
    who : str
        Code of the person who decides, until the page says another.
    blind : bool
        Send nothing that tells how the two instruments differ.
    """

    def __init__(self, bare: Study, *, who: str, blind: bool) -> None:
        bare.require_one_pair("the page to look and decide")
        self._bare = bare
        self.blind = blind
        self.who = who
        self.version = 1
        self.traces = Traces()
        self._home = tempfile.TemporaryDirectory(prefix="twinangle-review-")
        self._looks: dict[int, Look] = {}
        self._open: OrderedDict[int, Look] = OrderedDict()
        self._hashes: dict[str, str] = {}
        self._again: set[int] = set()
        self._lock = threading.RLock()
        self._decisions = read_decisions(bare.folder)
        self.study = self._with(self._decisions)
        self._effects = Effects(bare, self._hash_of)
        self._analyses = Analyses(Path(self._home.name), self._seen)

    # ---- what runs beside

    def begin(self) -> None:
        """Start to analyse every recording, in the order of the table."""
        for number in range(len(self.study.trials)):
            self._ask(number)

    def end(self) -> None:
        """Stop what runs beside, and clear up."""
        self._analyses.end()
        self._home.cleanup()

    def _ask(self, number: int, *, first: bool = False) -> None:
        self._hash_of(self._bare, self._bare.trials[number])  # of the files as they are looked at
        self._again.add(number)
        self._analyses.ask(number, self.study, self.study.trials[number], first=first)

    def _seen(self, number: int, look: Look) -> None:
        with self._lock:
            self._looks[number] = look
            self._again.discard(number)
            self._open.pop(number, None)
            self.version += 1

    def _with(self, decisions: tuple[Decision, ...]) -> Study:
        """Return the study with the decisions that are to count."""
        return apply_decisions(self._bare, decisions, hash_of=self._hash_of)

    # ---- what was decided

    def refresh(self) -> None:
        """Read the decisions again, and analyse anew what another page has decided on."""
        found = read_decisions(self.study.folder)
        with self._lock:
            known = {each.id for each in self._decisions}
            new = [each for each in found if each.id not in known]
            if not new:
                return
            self._decisions = found
            self.study = self._with(found)
            self.version += 1
            undone = _undone_by(new, found)
            touched = {
                each.recording
                for each in found
                if each.kind in ACTING and (each in new or each.id in undone)
            }
            for number in range(len(self.study.trials)):
                if self.label(number) in touched:
                    self._ask(number, first=True)

    def decide(self, number: int, kind: str, value: Any, *, why: str, who: str) -> Decision:
        """Write a decision down, and have its recording analysed with it.

        Raises
        ------
        StudyError
            If it says nothing definite, cannot be written, or the recording's files are not those
            that were looked at.
        """
        self._require_as_looked_at(number)
        decision = self._decision(number, kind, value, why=why, who=who)
        self._require_within(number, decision)
        self._note_blindness(who)
        written = append_decision(self.study.folder, decision)
        self.refresh()
        return written

    def _require_as_looked_at(self, number: int) -> None:
        """Refuse to decide on files that nobody has seen, and have them analysed."""
        trial = self._bare.trials[number]
        current = recording_hash(self._bare, trial)
        with self._lock:
            if current == self._hash_of(self._bare, trial):
                return
            self._hashes[trial.label] = current
            self._effects.forget(number)
            self.study = self._with(self._decisions)
            self._ask(number, first=True)
            self.version += 1
        raise StudyError(
            f"The files of {trial.label} have changed since this page looked at them: nothing was "
            "written. The recording is being analysed anew; look at it again, then decide."
        )

    def _require_within(self, number: int, decision: Decision) -> None:
        """Refuse a lag at which nothing overlaps, and a stretch outside the recording."""
        look = self._look(number)
        fault = "" if look is None else beyond(look, decision.kind, decision.value)
        if fault:
            raise StudyError(fault)

    def _decision(self, number: int, kind: str, value: Any, *, why: str, who: str) -> Decision:
        decision = Decision(
            who=who,
            recording=self.label(number),
            kind=cast(Any, kind),
            value=value if isinstance(value, dict) else {},
            why=why,
            input=self._hash_of(self._bare, self._bare.trials[number]),
            version=twinangle.__version__,
            when=moment(),
        )
        try:
            check_decision(replace(decision, why=decision.why or "previewed"))
        except ValueError as error:
            raise StudyError(f"{error}.") from None
        return decision

    def _note_blindness(self, who: str) -> None:
        """Note from when on the agreement is hidden from a person, or shown again."""
        last = [d for d in self._decisions if d.kind == "blind" and d.who == who]
        on = bool(last[-1].value["on"]) if last else False
        if on != self.blind:
            append_decision(
                self.study.folder,
                Decision(
                    who=who,
                    recording=EVERY_RECORDING,
                    kind="blind",
                    value={"on": self.blind},
                    version=twinangle.__version__,
                    when=moment(),
                ),
            )

    def show_comparison(self, who: str) -> None:
        """End deciding blind; the decisions note it."""
        try:
            check_who(who)
        except ValueError as error:
            raise StudyError(f"{error}.") from None
        with self._lock:
            self.blind = False
            self._note_blindness(who)
            self.traces.clear()
            self.version += 1
        self.refresh()

    def _hash_of(self, _: Study, trial: Trial) -> str:
        """Return the hash of a recording's files as they were looked at."""
        if trial.label not in self._hashes:
            self._hashes[trial.label] = recording_hash(self._bare, trial)
        return self._hashes[trial.label]

    def label(self, number: int) -> str:
        """Return a recording's name, as decisions say it."""
        return self._bare.trials[number].label

    def decisions(self) -> list[dict[str, Any]]:
        """Return every decision in order, and whether it stands."""
        return [
            each.decision.to_record() | {"stands": each.stands, "why_not": each.why_not}
            for each in self.study.decisions
        ]

    # ---- what is shown

    def overview(self) -> dict[str, Any]:
        """Return the list of recordings, the decisions, and how far the analysis is."""
        with self._lock:
            rows = [
                sent.row_of(trial, self._looks.get(number), blind=self.blind)
                | {"again": number in self._again and number in self._looks}
                for number, trial in enumerate(self.study.trials)
            ]
            told = sent.plain(
                {
                    "title": self.study.title,
                    "joint": self.study.joint,
                    "invented": self.study.invented,
                    "who": self.who,
                    "blind": self.blind,
                    "version": self.version,
                    "ready": len(self._looks),
                    "recordings": rows,
                    "decisions": self.decisions(),
                }
            )
            return cast(dict[str, Any], told)

    def recording(self, number: int) -> dict[str, Any] | None:
        """Return what is seen of one recording; None while it is being analysed."""
        self._analyses.hurry(number)
        look = self._look(number)
        if look is None:
            return None
        trial = self.study.trials[number]
        told = {
            "number": number,
            "row": sent.row_of(trial, look, blind=self.blind),
            "unseen": look.unseen,
            "traces": {
                "wearable": self._trace(look.wearable),
                "turning": self._turning(look),
                "reference": self._trace(look.reference),
            },
            "clock": sent.clock_of(look) if look.reference and look.wearable else None,
            "cycles": sent.cycles_of(look),
            "curve": sent.mean_curves(look.cycles, blind=self.blind),
            "intervals": sent.intervals_of(trial),
            "sensors": sent.sensors_of(look),
            "angle_quality": {}
            if look.first.angle_quality is None
            else asdict(look.first.angle_quality),
            "standing": None
            if look.first.standing is None or self.blind
            else {
                "wearable_deg": look.first.standing.wearable_deg,
                "reference_deg": look.first.standing.reference_deg,
            },
        }
        return cast(dict[str, Any], sent.plain(told))

    def curves(self, number: int, block: int) -> bytes | None:
        """Return the curves of a block of cycles."""
        look = self._look(number)
        if look is None or look.cycles is None:
            return None
        return sent.block_of(look.cycles, block, blind=self.blind)

    def placed(self, number: int, lag_s: float, drift_ppm: float) -> dict[str, Any] | None:
        """Return the difference and the mean curves with the reference placed by hand.

        Raises
        ------
        HiddenError
            While deciding blind.
        StudyError
            If the lag or the drift is no clock's.
        """
        if self.blind:
            raise HiddenError
        look = self._look(number)
        if look is None:
            return None
        fault = beyond(look, "lag", {"lag_s": lag_s, "drift_ppm": drift_ppm})
        if fault:
            raise StudyError(fault)
        try:
            paired = paired_at(look, lag_s, drift_ppm)
        except ValueError as error:
            raise StudyError(str(error)) from None
        if paired is None or paired.reference_deg is None:
            return {}
        cycles = cycles_at(look, paired)
        difference = paired.wearable_deg - paired.reference_deg
        told = {
            "difference": self.traces.add(
                difference, start_s=paired.start_s, rate_hz=paired.rate_hz, about=False
            ),
            "curve": sent.mean_curves(cycles, blind=False),
            "numbers": sent.compared(cycles),
        }
        return cast(dict[str, Any], sent.plain(told))

    def effect(self, number: int, kind: str, value: Any) -> dict[str, Any]:
        """Return the numbers without decisions, with those that stand, and with one more.

        Parameters
        ----------
        number : int
            The recording.
        kind : str
            Of the decision that is thought of; empty for none.
        value : object
            Its value.

        Raises
        ------
        HiddenError
            While deciding blind.
        """
        if self.blind:
            raise HiddenError
        with self._lock:
            study, decisions = self.study, self._decisions
            every = {k: look.results for k, look in self._looks.items()}
        told: dict[str, Any] = {"ready": len(every), "total": len(study.trials)}
        if number in every:
            thought = None
            if kind:
                thought = self._decision(number, kind, value, why="previewed", who=self.who)
            told |= self._effects.told(number, study, every, decisions, thought)
        return cast(dict[str, Any], sent.plain(told))

    def _trace(self, angle: Any) -> dict[str, Any] | None:
        if angle is None:
            return None
        return self.traces.add(
            angle.angle_deg, start_s=angle.start_s, rate_hz=angle.rate_hz, about=self.blind
        )

    def _turning(self, look: Look) -> dict[str, Any] | None:
        seen = look.turning
        if seen is None:
            return None
        return self.traces.add(
            seen.rate_deg_s, start_s=seen.start_s, rate_hz=seen.rate_hz, about=False
        )

    def _look(self, number: int) -> Look | None:
        with self._lock:
            if number in self._open:
                self._open.move_to_end(number)
                return self._open[number]
            if number not in self._looks:
                return None
            found = self._analyses.load(number)
            if found is not None:
                self._open[number] = found
                while len(self._open) > LOOKS:
                    self._open.popitem(last=False)
            return found
