"""How many cycles a trial has, which were left out, and its bouts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from twinangle.card import Shown
from twinangle.cycles.units import BoutUnit, bout_units
from twinangle.declare import measured, number
from twinangle.signals.recording import CycleSet


@dataclass(frozen=True, slots=True)
class ExcludedCycle(Shown):
    """A cycle that was found and left out."""

    index: Annotated[int, number("number of the cycle among all that were found")]
    bout: Annotated[int, number("the bout it is of")]
    start: Annotated[float, measured("s", "start of the cycle")]
    end: Annotated[float, measured("s", "end of the cycle")]
    reason: Annotated[str, number("why it was left out")]


@dataclass(frozen=True, slots=True)
class CyclesFound(Shown):
    """What is told of a trial's cycles beside the table of them."""

    method: Annotated[str, number("how the events were found")]
    found: Annotated[int, number("cycles found")]
    kept: Annotated[int, number("cycles kept")]
    excluded: Annotated[tuple[ExcludedCycle, ...], number("the cycles left out")]
    duration_mean: Annotated[float, measured("s", "mean duration of the kept cycles")]
    duration_sd: Annotated[float, measured("s", "SD of their durations (n - 1)")]
    bouts: Annotated[tuple[BoutUnit, ...], number("each bout as a unit of its own")]


def describe_cycles(cycles: CycleSet) -> CyclesFound:
    """Return what is told of a trial's cycles."""
    kept = cycles.kept
    durations = cycles.duration_s[kept]
    return CyclesFound(
        method=cycles.method,
        found=len(cycles.reason),
        kept=int(kept.sum()),
        excluded=tuple(
            ExcludedCycle(
                index=i,
                bout=int(cycles.bout[i]),
                start=float(cycles.start_s[i]),
                end=float(cycles.end_s[i]),
                reason=reason,
            )
            for i, reason in enumerate(cycles.reason)
            if reason
        ),
        duration_mean=float(durations.mean()) if durations.size else float("nan"),
        duration_sd=float(durations.std(ddof=1)) if durations.size > 1 else float("nan"),
        bouts=bout_units(cycles),
    )
