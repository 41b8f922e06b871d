"""Each cycle found is kept, or left out for the first reason that applies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.cycles import exclude
from twinangle.cycles.bouts import Candidates
from twinangle.cycles.overrides import Override, not_forced_in
from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet, Interval, MaskedStretch, PairedAngles

Method = Literal["shank-gyroscope", "angle-peak", "events"]


Movement = Literal["walking", "exercise"]


# Share of the cycles left out as turns above which it is asked whether they are turns: walks up and
# down a hall have a fifth to a third. Common practice, no source.
MOST_IN_TURNS = 0.5
# Share of the cycles found that have no reference from which that is no mere note. Own rule.
MUCH_WITHOUT_REFERENCE = 0.05
REFERENCE = "the reference's angle"


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What :func:`find_cycles` was asked for, as it may be tried in another way."""

    paired: PairedAngles
    method: Method
    movement: Movement
    turns: bool
    calibration: tuple[tuple[str, Interval], ...]
    sagittal: Array | None
    vertical: Array | None
    limits_s: tuple[float, float]
    events_s: ArrayLike | None
    overrides: Sequence[Override]
    decided: Sequence[tuple[float, Literal["include", "exclude"], str]]
    few: bool
    masked: Sequence[MaskedStretch] = ()
    part: bool = False


def judge_cycles(
    reason: list[str],
    asked: Asked,
    candidates: Candidates,
    cycles: CycleSet,
    signal: Array | None,
) -> list[str]:
    """Give each cycle without a reason the first that applies; return warnings."""
    clock = (asked.paired.start_s, asked.paired.rate_hz)
    merge_reasons(reason, exclude.outside(candidates, *asked.limits_s))
    merge_reasons(reason, exclude.calibrations(candidates, asked.calibration))
    merge_reasons(reason, gap_reasons(candidates, asked.paired))
    merge_reasons(reason, exclude.pauses(candidates))
    warnings = _leave_out_turns(reason, asked.vertical, candidates, clock) if asked.turns else []
    if signal is not None:
        merge_reasons(reason, exclude.gaps(candidates, signal, "the signal of the events", *clock))
        if asked.movement == "walking":
            merge_reasons(reason, exclude.starts_and_stops(candidates, signal, *clock))
        else:
            merge_reasons(reason, exclude.isolated(candidates))
    merge_reasons(reason, exclude.outlying_durations(cycles.duration_s, cycles.bout, _open(reason)))
    ordinary = _open(reason)
    curves = [("wearable", cycles.wearable_deg), ("reference", cycles.reference_deg)]
    for name, instrument in curves:
        if instrument is not None:
            merge_reasons(reason, exclude.outlying_curves(instrument, cycles.bout, ordinary, name))
    return warnings


def _leave_out_turns(
    reason: list[str],
    vertical: Array | None,
    candidates: Candidates,
    clock: tuple[float, float],
) -> list[str]:
    """Give cycles in turns their reason; return warnings."""
    if vertical is None:
        text = (
            "No rate about the vertical: turns are found only where they make a cycle's duration "
            "or curve an outlier. Give the straight stretches (start_s, end_s) where there were "
            "turns."
        )
        return [Notice(text, "turns-not-seen", "note")]
    merge_reasons(reason, exclude.gaps(candidates, vertical, "the rate about the vertical", *clock))
    eligible = _open(reason)
    change = exclude.heading_changes(candidates, vertical, *clock)
    turning, curved = exclude.turns(change, eligible)
    count = merge_reasons(reason, turning)
    warnings: list[str] = [Notice(curved, "curved-path")] if curved else []
    if count > MOST_IN_TURNS * eligible.sum():
        text = (
            f"{count} of {int(eligible.sum())} cycles were left out as turns. Where the movement "
            'is no walking, `movement = "exercise"` or `turns = false` under [cycles] keeps them.'
        )
        warnings.append(Notice(text, "most-cycles-in-turns", "grave", size=count))
    return warnings


def force_in(
    reason: list[str],
    include: dict[int, str],
    candidates: Candidates,
    paired: PairedAngles,
    *,
    part: bool = False,
) -> list[str]:
    """Clear the reasons of cycles forced in, and say so in warnings.

    One with a gap cannot be: that is a fault, but in a part of a recording, where the whole is
    judged once it is read.
    """
    warnings: list[str] = []
    gaps = gap_reasons(candidates, paired)
    for index, why in sorted(include.items()):
        place_s = float(candidates.start_s[index]), float(candidates.end_s[index])
        place = f"Cycle {index} ({place_s[0]:.2f} to {place_s[1]:.2f} s)"
        if gaps[index] and part:
            continue
        if gaps[index]:
            raise not_forced_in(index, place_s, gaps[index])
        if reason[index]:
            text = f"{place} is kept by hand ({why}) in spite of {reason[index]}."
            warnings.append(Notice(text, "cycle-kept-by-hand", "note"))
        reason[index] = ""
    return warnings


def gap_reasons(candidates: Candidates, paired: PairedAngles) -> list[str]:
    """Reasons of the cycles in which either instrument lacks samples."""
    clock = (paired.start_s, paired.rate_hz)
    reason = exclude.gaps(candidates, paired.wearable_deg, "the wearable's angle", *clock)
    if paired.reference_deg is not None:
        reference = exclude.gaps(candidates, paired.reference_deg, REFERENCE, *clock)
        merge_reasons(reason, reference)
    return reason


def lacks_reference(reason: str) -> bool:
    """Tell whether a cycle was left out because the reference lacks samples in it."""
    return reason.startswith("gap: ") and REFERENCE in reason


def without_reference(reason: Sequence[str], paired: PairedAngles) -> list[str]:
    """Say how many cycles are left out because the reference lacks samples in them."""
    n = sum(map(lacks_reference, reason))
    if not n or paired.reference_deg is None:
        return []
    there = paired.time_s[np.isfinite(paired.reference_deg)]
    text = (
        f"{n} of {len(reason)} cycles found have no whole reference (it has samples from "
        f"{there[0]:.1f} to {there[-1]:.1f} s) and are left out of every number, the wearable's SD "
        "too, so that both instruments' SDs are of the same cycles. A row of its own without a "
        "reference takes them in."
    )
    gravity: Literal["note", "warning"] = (
        "warning" if n > MUCH_WITHOUT_REFERENCE * len(reason) else "note"
    )
    return [Notice(text, "cycles-without-reference", gravity, size=n)]


def merge_reasons(reason: list[str], more: list[str]) -> int:
    """Give each cycle that has no reason yet the new one; count them."""
    new = [k for k, text in enumerate(more) if text and not reason[k]]
    for k in new:
        reason[k] = more[k]
    return len(new)


def _open(reason: list[str]) -> NDArray[np.bool_]:
    """Which cycles have no reason yet."""
    return np.array([not text for text in reason], dtype=bool)
