"""What is looked at: each recording as each wearable against each reference has it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from twinangle.study import Decision, Study, Trial
from twinangle.study.decision_scope import is_of
from twinangle.study.decisions import EVERY_RECORDING
from twinangle.study.instruments import Part, cutting_order


@dataclass(frozen=True, slots=True)
class Unit:
    """One recording under one pair of instruments: a row of the page's list.

    Parameters
    ----------
    at : int
        The recording's place in the trials table.
    pair : int
        The pair's place among those of the study.
    label : str
        The recording's name.
    part : Part
        The pair; its study is the one without decisions.
    reference : str
        Name of the reference; empty where there is but one, or none recorded.
    """

    at: int
    pair: int
    label: str
    part: Part
    reference: str

    @property
    def wearable(self) -> str:
        """Name of the wearable; empty where there is but one."""
        return self.part.wearable

    @property
    def instruments(self) -> str:
        """The pair in words; empty where the study has one of each."""
        if self.wearable and self.reference:
            return f"{self.wearable} against {self.reference}"
        return self.wearable or (f"against {self.reference}" if self.reference else "")

    def seen_in(self, study: Study) -> tuple[Part, Trial]:
        """Return the pair and the recording's row, in the study with or without decisions."""
        return study.rows_of(study.trials[self.at])[self.pair]

    def is_about(self, decision: Decision) -> bool:
        """Tell whether a decision is about what is looked at here."""
        if decision.recording == EVERY_RECORDING:
            return decision.kind == "blind"
        named = is_of(self.part, decision.wearable, decision.reference)
        return decision.recording == self.label and named


def rests_on(units: Sequence[Unit], number: int, decision: Decision) -> bool:
    """Tell whether what is seen of a unit may change by a decision.

    Parameters
    ----------
    units : sequence of Unit
        All of them.
    number : int
        The one.
    decision : Decision
        On its own instruments, or on a wearable whose cycles may be carried to it.
    """
    unit = units[number]
    if unit.is_about(decision):
        return True
    if unit.part.study.daily_life.stretch_min is not None:  # nothing is carried there
        return False
    beside = [one for one in units if one.at == unit.at]
    order = cutting_order(one.part for one in beside)
    before = order[: order.index(unit.wearable)]
    return any(one.wearable in before and one.is_about(decision) for one in beside)


def units_of(study: Study) -> tuple[Unit, ...]:
    """Return what there is to look at, in the order of the trials table.

    A recording of which a wearable has no reference is there once for that wearable; one that the
    trials table excludes is there once.
    """
    return tuple(unit for at in range(len(study.trials)) for unit in _of_recording(study, at))


def _of_recording(study: Study, at: int) -> Iterator[Unit]:
    pairs = study.rows_of(study.trials[at])
    analysed = [k for k, (_, row) in enumerate(pairs) if not row.exclude]
    told: set[str] = set()
    for k in analysed or [0]:
        part, row = pairs[k]
        same = [pairs[j][1] for j in analysed if pairs[j][0].wearable == part.wearable]
        if row.reference is None and (
            part.wearable in told or any(one.reference is not None for one in same)
        ):
            continue
        told.add(part.wearable)
        reference = part.reference if row.reference is not None else ""
        yield Unit(at, k, row.label, part, reference)
