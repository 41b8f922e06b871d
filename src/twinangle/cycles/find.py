"""Find, judge and cut the cycles of one trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from twinangle.cycles import exclude
from twinangle.cycles.bouts import Candidates, split_into_bouts
from twinangle.cycles.enough import CYCLES_FOR_MEAN, require_enough, shortage, small_numbers
from twinangle.cycles.event_times import beside_calibration, events_of, on_samples, samples_within
from twinangle.cycles.events import refuse_constant
from twinangle.cycles.judge import (
    Asked,
    Method,
    Movement,
    force_in,
    gap_reasons,
    judge_cycles,
    merge_reasons,
    without_reference,
)
from twinangle.cycles.normalise import cut
from twinangle.cycles.of_stretch import of_the_stretch
from twinangle.cycles.overrides import Override, not_taken_in, placed, resolve
from twinangle.errors import CycleError, TooFewCyclesError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet, Interval, MaskedStretch, PairedAngles
from twinangle.thresholds import told_apart

LEAST_RATE_HZ = 20.0
LONGEST_STRIDE_S = 2.5  # slow walking of patients takes about 2 s; common practice, no source


def find_cycles(
    paired: PairedAngles,
    *,
    method: Method = "shank-gyroscope",
    movement: Movement = "walking",
    turns: bool | None = None,
    calibration: Sequence[tuple[str, Interval]] = (),
    sagittal_rate_rad_s: ArrayLike | None = None,
    vertical_rate_rad_s: ArrayLike | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    events_s: ArrayLike | None = None,
    overrides: Sequence[Override] = (),
    decided: Sequence[tuple[float, Literal["include", "exclude"], str]] = (),
    masked: Sequence[MaskedStretch] = (),
    few: bool = False,
    part: bool = False,
) -> CycleSet:
    """Find movement cycles, judge each, and cut both instruments by the same events.

    Parameters
    ----------
    paired : PairedAngles
        Both angles in degrees, flexion positive, on one clock; NaN is a gap.
    method : {"shank-gyroscope", "angle-peak", "events"}
        A cycle runs from one event to the next. "shank-gyroscope": initial contact, the trough
        after mid-swing in the shank's sagittal rate. "angle-peak": the peak of flexion (in
        walking, swing flexion, so 0 % is about 70 % of a gait cycle that begins at contact), for
        any repetitive movement; in an exercise the middle of a held peak. "events": as given.
    movement : {"walking", "exercise"}
        In an exercise each repetition may begin and end at rest, so that starts and stops are not
        left out.
    turns : bool, optional
        Whether cycles in which the heading changes are left out; by default in walking only.
    calibration : sequence of (str, Interval)
        Stretches that are not the movement under study, such as ("standing", ...): cycles that
        reach into one are left out, and tell nothing of what is typical.
    sagittal_rate_rad_s : array_like, shape (n,), optional
        Distal segment's rate about the flexion axis, either sign, on the angles' samples.
    vertical_rate_rad_s : array_like, shape (n,), optional
        Its rate about the vertical, either sign. Without it turns are not found as such.
    start_s, end_s : float, optional
        The stretch to analyse, in seconds on the wearable's clock; cycles beyond it are none
        of its cycles, unless they are forced in.
    events_s : array_like, shape (k,), optional
        Event times for method "events", increasing, on the wearable's clock.
    overrides : sequence of (int or float, "include" or "exclude", str)
        Cycles forced in or out by hand, and why. An int is the index of a cycle, a float a time
        within it, in seconds on the wearable's clock.
    decided : sequence of (float, "include" or "exclude", str)
        Cycles taken in or out by a decision, named by their start on the wearable's clock; it goes
        before `overrides`. One that names no cycle, or one with a gap, is told and not applied.
    masked : sequence of MaskedStretch
        Stretches left out by hand; cycles that touch one are dropped for its reason.
    few : bool
        Let one or two kept cycles pass where the recording is short, to be pooled with others:
        where starts, stops and what is no part of the movement are all that was left out.
    part : bool
        It is a part of a longer recording: what is forced or decided on cycles elsewhere is left
        alone and not told.

    Returns
    -------
    CycleSet
        All cycles found in the stretch, (m, 101) curves, the reason of each that was dropped, the
        bout of each (from 1; 0 for isolated movement).

    Raises
    ------
    CycleError
        If a signal is constant, no cycle is found or fewer than three are kept, the method
        lacks its signal, or an override names no cycle or one with a gap.
    ValueError
        If an argument is malformed.

    Notes
    -----
    Rules and limits: docs/background/cycles.md. Curves by local cubic interpolation at 0, 1, ...
    100 %.
    """
    _check_arguments(paired, method, start_s, end_s, events_s)
    asked = Asked(
        paired=paired,
        method=method,
        movement=movement,
        turns=movement == "walking" if turns is None else turns,
        calibration=tuple(calibration),
        sagittal=on_samples(sagittal_rate_rad_s, "sagittal_rate_rad_s", paired),
        vertical=on_samples(vertical_rate_rad_s, "vertical_rate_rad_s", paired),
        limits_s=(-np.inf if start_s is None else start_s, np.inf if end_s is None else end_s),
        events_s=events_s,
        overrides=overrides,
        decided=decided,
        few=few,
        masked=masked,
        part=part,
    )
    try:
        cycles = _found(asked)
    except TooFewCyclesError as error:
        raise TooFewCyclesError(f"{error}{_named(_other_ways(asked))}", error.cycles) from None
    text = shortage(cycles)
    if text and max((ways := _other_ways(asked)).values(), default=0) >= CYCLES_FOR_MEAN:
        # no short recording, but another movement
        raise TooFewCyclesError(f"{text}{_named(ways)}", cycles)
    return cycles


def _found(asked: Asked) -> CycleSet:
    """Find, cut and judge the cycles in the way asked for."""
    paired, method = asked.paired, asked.method
    within = samples_within(paired, asked.limits_s)
    refuse_constant(paired.wearable_deg[within], "the wearable's angle")
    if paired.reference_deg is not None:
        refuse_constant(paired.reference_deg[within], "the reference's angle")
    asked, stretch, same = beside_calibration(asked, within)
    events, signal, warnings = events_of(asked, stretch)
    candidates = split_into_bouts(
        events,
        keep_pauses=method == "events",
        stretch_s=asked.limits_s,
        apart=[part for _, part in asked.calibration],
    )
    asked, candidates = of_the_stretch(asked, candidates)
    cycles = cut_all(candidates, paired, method)
    include, by_hand = resolve(asked.overrides, cycles.start_s, cycles.end_s, part=asked.part)
    lost = _with_decided(asked, candidates, include, by_hand)
    reason = [
        f"by hand: {by_hand[k]}" if k in by_hand else "" for k in range(candidates.start_s.size)
    ]
    merge_reasons(reason, exclude.masked(candidates, asked.masked))
    said = [*same, *lost, *judge_cycles(reason, asked, candidates, cycles, signal)]
    said += force_in(reason, include, candidates, paired, part=asked.part)
    cycles = replace(cycles, reason=tuple(reason))
    said += without_reference(cycles.reason, paired)
    said += _slow_strides(asked, cycles)
    require_enough(cycles, said, few=asked.few)
    return replace(cycles, warnings=(*warnings, *said, *small_numbers(int(cycles.kept.sum()))))


def _with_decided(
    asked: Asked, candidates: Candidates, include: dict[int, str], by_hand: dict[int, str]
) -> list[str]:
    """Put decisions before the overrides, and return what is to be told of those that cannot be."""
    found, lost = placed(asked.decided, candidates.start_s, candidates.end_s)
    gaps = gap_reasons(candidates, asked.paired) if found else []
    told = [*lost]
    for index, (_, what, why) in sorted(found.items()):
        if what == "include" and gaps[index]:
            begin, end = candidates.start_s[index], candidates.end_s[index]
            told.append(not_taken_in(index, (begin, end), why, gaps[index]))
            continue
        chosen, other = (include, by_hand) if what == "include" else (by_hand, include)
        other.pop(index, None)
        chosen[index] = why
    return [] if asked.part else told


def _slow_strides(asked: Asked, cycles: CycleSet) -> list[str]:
    """Warn of cycles that last longer than strides of walking do."""
    if asked.movement != "walking" or asked.method == "events" or not cycles.kept.any():
        return []
    typical = float(np.median(cycles.duration_s[cycles.kept]))
    if typical <= LONGEST_STRIDE_S:
        return []
    shown, limit = told_apart(typical, LONGEST_STRIDE_S)
    text = (
        f"The cycles last {shown} s, above {limit} s, longer than strides of walking: where they "
        'are repetitions of an exercise, say `movement = "exercise"` under [cycles].'
    )
    return [Notice(text, "long-cycles", "grave", size=typical)]


def _other_ways(asked: Asked) -> dict[str, int]:
    """Try the other ways of finding cycles, and return how many those that do would keep."""
    ways: dict[str, Asked] = {}
    if asked.calibration:
        ways["`include_calibration = true`"] = replace(asked, calibration=())
    if asked.turns:
        ways["`turns = false`"] = replace(asked, turns=False)
    if asked.method != "angle-peak":
        ways['`method = "angle-peak"`'] = replace(asked, method="angle-peak", events_s=None)
        ways['`movement = "exercise"` without `method`'] = replace(
            asked, method="angle-peak", events_s=None, movement="exercise", turns=False
        )
    elif asked.movement == "walking":
        ways['`movement = "exercise"`'] = replace(asked, movement="exercise", turns=False)
    if asked.method != "shank-gyroscope" and asked.sagittal is not None:
        ways['`method = "shank-gyroscope"` with `movement = "walking"`'] = replace(
            asked, method="shank-gyroscope", events_s=None, movement="walking"
        )
    kept = {
        words: _count_kept(replace(way, overrides=(), decided=(), few=False))
        for words, way in ways.items()
    }
    return {words: count for words, count in kept.items() if count}


def _named(ways: Mapping[str, int]) -> str:
    """Name the ways that would keep enough cycles, the most first."""
    if not ways:
        return ""
    order = sorted(ways, key=lambda words: -ways[words])
    told = "; ".join(f"{words} would keep {ways[words]}" for words in order)
    return f" Another way under [cycles], where it is what the movement was: {told}."


def _count_kept(asked: Asked) -> int:
    """Return how many cycles another way would keep; 0 where they are too few."""
    try:
        return int(_found(asked).kept.sum())
    except CycleError:
        return 0


def recut(cycles: CycleSet, paired: PairedAngles, *, few: bool = False) -> CycleSet:
    """Cut another procedure's angles by the same events, with the same reasons.

    Parameters
    ----------
    cycles : CycleSet
        Cycles already found and judged.
    paired : PairedAngles
        Another procedure's angle (and the reference) of the same trial, on the same clock.
    few : bool
        Let fewer than three cycles pass.

    Returns
    -------
    CycleSet
        As `cycles`, with the new curves. A kept cycle in which the new angles have a gap is
        dropped for that reason, and a warning says how many.

    Raises
    ------
    CycleError
        If fewer than three cycles stay.
    """
    candidates = as_candidates(cycles)
    new = cut_all(candidates, paired, cycles.method)
    reason = list(cycles.reason)
    lost = merge_reasons(reason, gap_reasons(candidates, paired))
    new = replace(new, reason=tuple(reason), warnings=cycles.warnings)
    if lost:
        text = f"{lost} kept cycle(s) have a gap in this procedure's angles and were dropped."
        told = Notice(text, "cycles-lost-in-gaps", size=lost)
        new = replace(new, warnings=(*new.warnings, told))
    if not few:
        require_enough(new, [], few=bool(shortage(cycles)))
    return new


def _check_arguments(
    paired: PairedAngles,
    method: str,
    start_s: float | None,
    end_s: float | None,
    events_s: ArrayLike | None,
) -> None:
    """Refuse arguments that cannot mean anything."""
    if method not in get_args(Method):
        raise ValueError(f"`method` must be one of {', '.join(get_args(Method))}, got {method!r}.")
    if paired.rate_hz < LEAST_RATE_HZ:
        raise ValueError(
            f"`paired.rate_hz` must be at least {LEAST_RATE_HZ:g} Hz to find cycles, "
            f"got {paired.rate_hz:g}."
        )
    if start_s is not None and end_s is not None and not start_s < end_s:
        raise ValueError(f"`start_s` must be before `end_s`, got {start_s:g} and {end_s:g}.")
    if (events_s is not None) != (method == "events"):
        raise ValueError(f"`events_s` goes with method 'events' and no other, got {method!r}.")


def cut_all(candidates: Candidates, paired: PairedAngles, method: str) -> CycleSet:
    """Cut both instruments; no cycle is judged yet."""
    reference = paired.reference_deg
    return CycleSet(
        start_s=candidates.start_s,
        end_s=candidates.end_s,
        reason=("",) * candidates.start_s.size,
        wearable_deg=_curves(paired.wearable_deg, candidates, paired),
        reference_deg=None if reference is None else _curves(reference, candidates, paired),
        method=method,
        bout=candidates.bout,
    )


def _curves(signal: Array, candidates: Candidates, paired: PairedAngles) -> Array:
    return cut(
        signal,
        candidates.start_s,
        candidates.end_s,
        origin_s=paired.start_s,
        rate_hz=paired.rate_hz,
    )


def as_candidates(cycles: CycleSet) -> Candidates:
    """Return the intervals of cycles already judged."""
    nothing = np.zeros(cycles.start_s.size)
    return Candidates(
        cycles.start_s, cycles.end_s, cycles.bout, nothing, nothing, nothing > 0, float("nan")
    )
