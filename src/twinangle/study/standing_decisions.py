"""Which of the decisions stand: not undone, and no later one over them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from twinangle.study.decision import Decision

SAME_CYCLE_S = 0.05  # two starts this near are one cycle's: no cycle is shorter


@dataclass(frozen=True, slots=True)
class Standing:
    """One decision, and whether it stands among the others.

    `why_not` says in words why it does not, empty where it does; `hidden` whether its author had
    the agreement hidden when deciding.
    """

    decision: Decision
    why_not: str
    hidden: bool

    @property
    def stands(self) -> bool:
        """Whether it stands."""
        return not self.why_not


def standings(decisions: Iterable[Decision]) -> tuple[Standing, ...]:
    """Return every decision in its order with whether it stands among the others.

    An undone decision does not; an undo can be undone in turn. Of several on one recording and
    kind, for intervals on the same one, for cycles on the same (starts within `SAME_CYCLE_S`), the
    last that was not undone stands. "looked" and "blind" stand beside each other. Of several
    instruments a later decision stands over an earlier one where it is about all that the earlier
    one is about; else both stand, and on what both are about the later counts.
    """
    every = tuple(decisions)
    undone = _undone(every)
    later: list[Decision] = []
    why_not: dict[int, str] = {}
    for decision in reversed(every):
        if decision.id in undone:
            why_not[decision.id] = f"undone by {undone[decision.id]}"
            continue
        over = next((each.id for each in later if _stands_over(each, decision)), None)
        if over is not None:
            why_not[decision.id] = f"{over} stands over it"
        elif decision.kind not in ("undo", "looked", "blind"):
            later.append(decision)
    hidden = _hidden(every, undone)
    return tuple(
        Standing(decision, why_not.get(decision.id, ""), decision.id in hidden)
        for decision in every
    )


def in_force(decisions: Iterable[Decision]) -> tuple[Decision, ...]:
    """Return the decisions that stand, in order: without those undone or stood over."""
    return tuple(each.decision for each in standings(decisions) if each.stands)


def _undone(decisions: Sequence[Decision]) -> dict[int, int]:
    """Return which decisions were undone, and by which."""
    undone: dict[int, int] = {}
    for decision in reversed(decisions):
        if decision.kind == "undo" and decision.id not in undone:
            undone.setdefault(int(decision.value["of"]), decision.id)
    return undone


def _stands_over(later: Decision, decision: Decision) -> bool:
    if later.target != decision.target or not later.covers(decision):
        return False
    if later.kind != "cycle":
        return True
    apart = float(later.value["start_s"]) - float(decision.value["start_s"])
    return abs(apart) <= SAME_CYCLE_S


def _hidden(decisions: Sequence[Decision], undone: dict[int, int]) -> set[int]:
    """Return the decisions whose author had the agreement hidden."""
    blind: dict[str, bool] = {}
    hidden = set()
    for decision in decisions:
        if decision.kind == "blind" and decision.id not in undone:
            blind[decision.who] = bool(decision.value["on"])
        elif blind.get(decision.who, False):
            hidden.add(decision.id)
    return hidden
