"""The study that a page works on: what is looked at, what is still computed, what is shown."""

from __future__ import annotations

import tempfile
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any, cast

from twinangle.errors import StudyError
from twinangle.review import sent
from twinangle.review.deciding import Decided, FilesSeen
from twinangle.review.effect import Effects
from twinangle.review.look import Look
from twinangle.review.looked_at import rests_on, units_of
from twinangle.review.placed import clock_near, cycles_at, paired_at
from twinangle.review.pyramids import Traces
from twinangle.review.within import beyond
from twinangle.review.workers import Analyses, KeptLooks
from twinangle.study import Decision, Study, Trial
from twinangle.study.decisions import read_decisions
from twinangle.study.instruments import Part


class HiddenError(Exception):
    """What was asked for is hidden while deciding blind."""


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
        self._bare = bare
        self.units = units_of(bare)
        self.blind = blind
        self.who = who
        self.version = 1
        self.traces = Traces()
        self._home = tempfile.TemporaryDirectory(prefix="twinangle-review-")
        self._looks: dict[int, Look] = {}
        self._again: set[int] = set()
        self._lock = threading.RLock()
        self._files = FilesSeen(bare)
        self._decided = Decided(bare, self.units, self._files)
        self._effects = Effects(bare, self.units, self._files.hash_of)
        self._kept = KeptLooks(Path(self._home.name))
        self._analyses = Analyses(self._kept, self._seen)

    @property
    def study(self) -> Study:
        """The study with the decisions that are to count."""
        return self._decided.study

    def _pair(self, number: int) -> tuple[Part, Trial]:
        """Return the instruments of a unit, and the recording's row with its decisions."""
        return self.units[number].seen_in(self.study)

    # ---- what runs beside

    def begin(self) -> None:
        """Start to analyse every recording, in the order of the table."""
        for number in range(len(self.units)):
            self._ask(number)

    def end(self) -> None:
        """Stop what runs beside, and clear up."""
        self._analyses.end()
        self._home.cleanup()

    def _ask(self, number: int, *, first: bool = False) -> None:
        unit = self.units[number]
        self._files.hash_of(  # of the files as they are looked at
            self._bare, self._bare.trials[unit.at], unit.wearable, unit.reference
        )
        self._again.add(number)
        rows = self.study.rows_of(self.study.trials[unit.at])
        self._analyses.ask(number, rows, unit.pair, first=first)

    def _seen(self, number: int, look: Look) -> None:
        with self._lock:
            self._looks[number] = look
            self._again.discard(number)
            self._kept.forget(number)
            self.version += 1

    # ---- what was decided

    def refresh(self) -> None:
        """Read the decisions again, and analyse anew what another page has decided on."""
        found = read_decisions(self._bare.folder)
        with self._lock:
            touched = self._decided.take_in(found)
            if touched is None:
                return
            self.version += 1
            for number in sorted(touched):
                self._ask(number, first=True)

    def decide(
        self, number: int, kind: str, value: Any, *, why: str, who: str, holds: str = ""
    ) -> Decision:
        """Write a decision down, and have what it is about analysed with it.

        Raises
        ------
        StudyError
            If it says nothing definite, cannot be written, or the recording's files are not those
            that were looked at.
        """
        decision = self._decided.made(number, kind, value, why=why, who=who, holds=holds)
        self._require_as_looked_at(number, decision)
        self._require_within(number, decision)
        self._decided.note_blindness(who, on=self.blind)
        written = self._decided.append(decision)
        self.refresh()
        return written

    def _require_as_looked_at(self, number: int, decision: Decision) -> None:
        """Refuse to decide on files that nobody has seen, and have them analysed."""
        unit = self.units[number]
        trial = self._bare.trials[unit.at]
        with self._lock:
            if not self._files.changed(trial, decision.wearable, decision.reference):
                return
            self._decided.judge_again()
            for other in range(len(self.units)):
                if rests_on(self.units, other, decision):
                    self._effects.forget(other)
                    self._ask(other, first=True)
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

    def decide_blind(self, who: str, *, on: bool) -> None:
        """Hide the agreement of the instruments, or show it; the decisions note it."""
        with self._lock:
            self._decided.note_blindness(who, on=on)
            self.blind = on
            if on:
                self.traces.clear()  # they show the offset
            self.version += 1
        self.refresh()

    def label(self, number: int) -> str:
        """Return a recording's name, as decisions say it."""
        return self.units[number].label

    def decisions(self) -> list[dict[str, Any]]:
        """Return every decision in order, whether it stands, and what it is about."""
        return self._decided.records()

    # ---- what is shown

    def overview(self) -> dict[str, Any]:
        """Return the list of recordings, the decisions, and how far the analysis is."""
        with self._lock:
            rows = [
                self._row(number, self._looks.get(number))
                | {"again": number in self._again and number in self._looks}
                for number in range(len(self.units))
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

    def _row(self, number: int, look: Look | None) -> dict[str, Any]:
        part, trial = self._pair(number)
        return sent.row_of(self.units[number], part, trial, look, blind=self.blind)

    def recording(self, number: int) -> dict[str, Any] | None:
        """Return what is seen of one recording; None while it is being analysed."""
        self._analyses.hurry(number)
        look = self._look(number)
        if look is None:
            return None
        part, trial = self._pair(number)
        told = {
            "number": number,
            "row": self._row(number, look),
            "unseen": part.worded(look.unseen),
            "cut_by": look.cut_by,
            "day": part.study.daily_life.stretch_min is not None,
            "traces": {
                "wearable": self._trace(look.wearable),
                "turning": self._turning(look),
                "reference": self._trace(look.reference),
            },
            "clock": sent.clock_of(look, part) if look.reference and look.wearable else None,
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

    def near(self, number: int, lag_s: float) -> dict[str, Any] | None:
        """Return lag and drift that fit best near a lag; nothing in it where none does.

        Raises
        ------
        StudyError
            If nothing overlaps at that lag.
        """
        look = self._look(number)
        if look is None:
            return None
        fault = beyond(look, "lag", {"lag_s": lag_s})
        if fault:
            raise StudyError(fault)
        found = clock_near(look, lag_s, drift=True)
        if found is None:
            return {}
        told = {"lag_s": found.lag_s, "drift_ppm": found.drift_ppm, "se_ppm": found.drift_se_ppm}
        return cast(dict[str, Any], sent.plain(told))

    def effect(self, number: int, kind: str, value: Any, holds: str = "") -> dict[str, Any]:
        """Return the numbers without decisions, with those that stand, and with one more.

        Parameters
        ----------
        number : int
            The recording.
        kind : str
            Of the decision that is thought of; empty for none.
        value : object
            Its value.
        holds : str
            Which of several instruments it is to hold for; empty for what its kind has.

        Raises
        ------
        HiddenError
            While deciding blind.
        """
        if self.blind:
            raise HiddenError
        with self._lock:
            study, decisions = self.study, self._decided.every
            pair = self.units[number].pair
            beside = [k for k, unit in enumerate(self.units) if unit.pair == pair]
            every = {k: self._looks[k].results for k in beside if k in self._looks}
        told: dict[str, Any] = {"ready": len(every), "total": len(beside)}
        if number in every:
            thought = None
            if kind:
                thought = self._decided.made(
                    number, kind, value, why="previewed", who=self.who, holds=holds
                )
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
            return self._kept.look(number) if number in self._looks else None
