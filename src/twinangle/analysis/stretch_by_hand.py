"""Cycles chosen by hand in a recording that is read in stretches: each acts where its time lies.

Within a stretch what concerns others is left alone; whether each named a cycle of the recording is
judged over all of them, by the rules of a recording that is read whole.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from twinangle.analysis.chosen_cycles import count_chosen
from twinangle.analysis.requirements import override_outside
from twinangle.analysis.stretch_cycles import Found
from twinangle.cycles.daily_life import ChosenStride
from twinangle.cycles.overrides import not_forced_in, not_taken_in, placed, resolve
from twinangle.formats.stretches import Stretch
from twinangle.results.decided import BY_HAND, ChosenCycles
from twinangle.signals.recording import CycleSet, Interval
from twinangle.study import Study, Trial
from twinangle.study.by_hand import Cycle
from twinangle.study.overrides_table import Override, read_overrides


@dataclass(frozen=True, slots=True)
class OfTheWhole:
    """What became of cycles chosen by hand in a long recording.

    Parameters
    ----------
    strides : tuple of ChosenStride
        Those that the table of overrides or a decision named, each once: a decision stands over
        an override.
    counted : ChosenCycles or None
        What the decisions did; None where there are none on cycles.
    told : tuple of str
        Decisions that came to nothing.
    """

    strides: tuple[ChosenStride, ...] = ()
    counted: ChosenCycles | None = None
    told: tuple[str, ...] = ()


@dataclass(slots=True, eq=False)
class ByHandInStretches:
    """Gathers the cycles of each stretch, where somebody chose any; nothing where nobody did.

    Parameters
    ----------
    study, trial
        The settings, and the row of the recording as a whole.
    """

    study: Study
    trial: Trial
    _overrides: tuple[Override, ...] = field(init=False)
    _cycles: list[tuple[float, float, str, str]] = field(default_factory=list)
    _unread: list[Interval] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._overrides = read_overrides(self.study, self.trial)

    @property
    def _decided(self) -> tuple[Cycle, ...]:
        return () if self.trial.by_hand is None else self.trial.by_hand.cycles

    def add(self, part: Stretch, found: Found) -> None:
        """Add the cycles that begin in the core of a stretch."""
        if not (self._overrides or self._decided):
            return
        cycles = next((one for one in found.cycles.values() if isinstance(one, CycleSet)), None)
        if cycles is None:
            if any(isinstance(one, str) for one in found.cycles.values()):
                self._unread.append(part.core)
            return
        before = cycles.reason if found.undecided is None else found.undecided.reason
        rows = zip(cycles.start_s, cycles.end_s, cycles.reason, before, strict=True)
        self._cycles += [row for row in rows if part.core.start_s <= row[0] < part.core.end_s]

    def judged(self, source: str, span_s: tuple[float, float]) -> OfTheWhole:
        """Return what became of them in a file with these first and last times.

        Raises
        ------
        StudyError
            If an override lies outside the recording.
        OverrideError
            If one names no cycle, or one with a gap, or two the same one.
        """
        if not (self._overrides or self._decided):
            return OfTheWhole()
        start_s, end_s = (np.array([one[k] for one in self._cycles]) for k in (0, 1))
        reason, before = [one[2] for one in self._cycles], [one[3] for one in self._cycles]
        self._require_within(source, span_s)
        read = [one for one in self._overrides if not self._in_unread(one[0])]
        include, exclude = resolve(read, start_s, end_s)
        for index in include:
            if reason[index] and not reason[index].startswith(BY_HAND):  # a decision is over it
                raise not_forced_in(index, (start_s[index], end_s[index]), reason[index])
        chosen, lost = placed(self._decided, start_s, end_s)
        acted = {
            index: (float(start_s[index]), what, why)
            for what, of in (("include", include), ("exclude", exclude))
            for index, why in of.items()
        } | {k: one for k, one in chosen.items() if one[1] == "exclude" or not reason[k]}
        strides = tuple(
            ChosenStride(at_s, float(start_s[index]), what == "include", why)
            for index, (at_s, what, why) in sorted(acted.items())
        )
        if not self._decided:
            return OfTheWhole(strides)
        told = [
            not_taken_in(index, (start_s[index], end_s[index]), why, reason[index])
            for index, (_, what, why) in sorted(chosen.items())
            if what == "include" and reason[index]
        ]
        return OfTheWhole(strides, count_chosen(chosen, reason, before), (*lost, *told))

    def _require_within(self, source: str, span_s: tuple[float, float]) -> None:
        for time_s, decision, _ in self._overrides:
            if not span_s[0] <= time_s <= span_s[1]:
                raise override_outside(self.study, (time_s, decision), source, span_s)

    def _in_unread(self, time_s: float) -> bool:
        return any(core.start_s <= time_s < core.end_s for core in self._unread)
