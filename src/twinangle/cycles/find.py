"""Find, judge and cut the cycles of one trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.checks import as_float_array, require_finite
from twinangle.cycles import exclude
from twinangle.cycles.bouts import Candidates, split_into_bouts
from twinangle.cycles.enough import CYCLES_FOR_MEAN, require_enough, shortage, small_numbers
from twinangle.cycles.events import flexion_peaks, initial_contacts, refuse_constant
from twinangle.cycles.normalise import cut
from twinangle.cycles.overrides import Override, resolve
from twinangle.errors import CycleError, TooFewCyclesError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet, Interval, MaskedStretch, PairedAngles
from twinangle.thresholds import told_apart

Method = Literal["shank-gyroscope", "angle-peak", "events"]
Movement = Literal["walking", "exercise"]
LEAST_RATE_HZ = 20.0
# Share of the cycles left out as turns above which it is asked whether they are turns: walks up and
# down a hall have a fifth to a third. Common practice, no source.
MOST_IN_TURNS = 0.5
LONGEST_STRIDE_S = 2.5  # slow walking of patients takes about 2 s; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
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
    few: bool
    masked: Sequence[MaskedStretch] = ()


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
    masked: Sequence[MaskedStretch] = (),
    few: bool = False,
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
        The stretch to analyse, in seconds on the wearable's clock; cycles beyond it are dropped.
    events_s : array_like, shape (k,), optional
        Event times for method "events", increasing, on the wearable's clock.
    overrides : sequence of (int or float, "include" or "exclude", str)
        Cycles forced in or out by hand, and why. An int is the index of a cycle, a float a time
        within it, in seconds on the wearable's clock.
    masked : sequence of MaskedStretch
        Stretches left out by hand; cycles that touch one are dropped for its reason.
    few : bool
        Let one or two kept cycles pass where the recording is short, to be pooled with others:
        where starts, stops and what is no part of the movement are all that was left out.

    Returns
    -------
    CycleSet
        All cycles found, (m, 101) curves, the reason of each that was dropped, the bout of each
        (from 1; 0 for isolated movement).

    Raises
    ------
    CycleError
        If a signal is constant, no cycle is found or fewer than three are kept, the method
        lacks its signal, or an override names no cycle or one with a gap.
    ValueError
        If an argument is malformed.

    Notes
    -----
    docs/cycles.md gives every rule and limit. Curves by local cubic interpolation at 0, 1, ...
    100 %.
    """
    _check_arguments(paired, method, start_s, end_s, events_s)
    asked = _Asked(
        paired=paired,
        method=method,
        movement=movement,
        turns=movement == "walking" if turns is None else turns,
        calibration=tuple(calibration),
        sagittal=_on_samples(sagittal_rate_rad_s, "sagittal_rate_rad_s", paired),
        vertical=_on_samples(vertical_rate_rad_s, "vertical_rate_rad_s", paired),
        limits_s=(-np.inf if start_s is None else start_s, np.inf if end_s is None else end_s),
        events_s=events_s,
        overrides=overrides,
        few=few,
        masked=masked,
    )
    try:
        cycles = _found(asked)
    except TooFewCyclesError as error:
        raise TooFewCyclesError(f"{error}{_named(_other_ways(asked))}") from None
    text = shortage(cycles)
    if text and max((ways := _other_ways(asked)).values(), default=0) >= CYCLES_FOR_MEAN:
        raise TooFewCyclesError(f"{text}{_named(ways)}")  # no short recording, but another movement
    return cycles


def _found(asked: _Asked) -> CycleSet:
    """Find, cut and judge the cycles in the way asked for."""
    paired, method = asked.paired, asked.method
    within = _samples_within(paired, asked.limits_s)
    refuse_constant(paired.wearable_deg[within], "the wearable's angle")
    if paired.reference_deg is not None:
        refuse_constant(paired.reference_deg[within], "the reference's angle")
    asked, stretch, same = _beside_calibration(asked, within)
    events, signal, warnings = _events(asked, stretch)
    candidates = split_into_bouts(
        events,
        keep_pauses=method == "events",
        stretch_s=asked.limits_s,
        apart=[part for _, part in asked.calibration],
    )
    cycles = _cut_all(candidates, paired, method)
    include, by_hand = resolve(asked.overrides, cycles.start_s, cycles.end_s)
    reason = [
        f"by hand: {by_hand[k]}" if k in by_hand else "" for k in range(candidates.start_s.size)
    ]
    _merge(reason, exclude.masked(candidates, asked.masked))
    said = [*same, *_judge(reason, asked, candidates, cycles, signal)]
    said += _force_in(reason, include, candidates, paired)
    cycles = replace(cycles, reason=tuple(reason))
    said += _slow_strides(asked, cycles)
    require_enough(cycles, said, few=asked.few)
    return replace(cycles, warnings=(*warnings, *said, *small_numbers(int(cycles.kept.sum()))))


def _slow_strides(asked: _Asked, cycles: CycleSet) -> list[str]:
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


def _other_ways(asked: _Asked) -> dict[str, int]:
    """Try the other ways of finding cycles, and return how many those that do would keep."""
    ways: dict[str, _Asked] = {}
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
        words: _count_kept(replace(way, overrides=(), few=False)) for words, way in ways.items()
    }
    return {words: count for words, count in kept.items() if count}


def _named(ways: Mapping[str, int]) -> str:
    """Name the ways that would keep enough cycles, the most first."""
    if not ways:
        return ""
    order = sorted(ways, key=lambda words: -ways[words])
    told = "; ".join(f"{words} would keep {ways[words]}" for words in order)
    return f" Another way under [cycles], where it is what the movement was: {told}."


def _count_kept(asked: _Asked) -> int:
    """Return how many cycles another way would keep; 0 where they are too few."""
    try:
        return int(_found(asked).kept.sum())
    except CycleError:
        return 0


def recut(cycles: CycleSet, paired: PairedAngles) -> CycleSet:
    """Cut another procedure's angles by the same events, with the same reasons.

    Parameters
    ----------
    cycles : CycleSet
        Cycles already found and judged.
    paired : PairedAngles
        Another procedure's angle (and the reference) of the same trial, on the same clock.

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
    candidates = _as_candidates(cycles)
    new = _cut_all(candidates, paired, cycles.method)
    reason = list(cycles.reason)
    lost = _merge(reason, _gap_reasons(candidates, paired))
    new = replace(new, reason=tuple(reason), warnings=cycles.warnings)
    if lost:
        text = f"{lost} kept cycle(s) have a gap in this procedure's angles and were dropped."
        told = Notice(text, "cycles-lost-in-gaps", size=lost)
        new = replace(new, warnings=(*new.warnings, told))
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


def _samples_within(paired: PairedAngles, limits_s: tuple[float, float]) -> NDArray[np.bool_]:
    """Return which samples are of the stretch to analyse, at least one second of them."""
    start_s, end_s = limits_s
    inside = np.asarray((paired.time_s >= start_s) & (paired.time_s <= end_s))
    if inside.sum() < paired.rate_hz:
        last = paired.start_s + (paired.wearable_deg.size - 1) / paired.rate_hz
        raise CycleError(
            f"No cycle found: {inside.sum() / paired.rate_hz:.2f} s of the recording "
            f"({paired.start_s:.2f} to {last:.2f} s) lie within {start_s:g} to {end_s:g} s, and at "
            "least 1 s is needed. Check start_s and end_s, on the wearable's clock."
        )
    return inside


def _beside_calibration(
    asked: _Asked, within: NDArray[np.bool_]
) -> tuple[_Asked, NDArray[np.bool_], list[str]]:
    """Return which samples of the stretch to analyse are no calibration.

    Where less than a second of it is left, calibration is what was asked to be analysed: it counts
    then, and a warning says so.
    """
    time_s, beside = asked.paired.time_s, within.copy()
    for _, part in asked.calibration:
        beside &= (time_s < part.start_s) | (time_s > part.end_s)
    if beside.sum() >= asked.paired.rate_hz or not asked.calibration:
        return asked, beside, []
    names = " and ".join(name for name, part in asked.calibration if _meets(time_s[within], part))
    text = (
        f"The stretch to analyse is the {names} itself, so that its cycles count; the axis found "
        "in it is not tried on another movement."
    )
    return replace(asked, calibration=()), within, [text]


def _meets(time_s: Array, part: Interval) -> bool:
    return bool(((time_s >= part.start_s) & (time_s <= part.end_s)).any())


def _on_samples(values: ArrayLike | None, name: str, paired: PairedAngles) -> Array | None:
    """Check that a rate shares the angles' samples."""
    if values is None:
        return None
    array = as_float_array(values, name, ndim=1)
    if array.size != paired.wearable_deg.size:
        raise ValueError(
            f"`{name}` has {array.size} samples and the angle {paired.wearable_deg.size}: both "
            "must share one clock."
        )
    return array


def _events(
    asked: _Asked, stretch: NDArray[np.bool_]
) -> tuple[Array, Array | None, tuple[str, ...]]:
    """Event times, the signal they come from (None when given) and warnings."""
    paired, method, sagittal = asked.paired, asked.method, asked.sagittal
    warnings: tuple[str, ...] = ()
    signal: Array | None = None
    if asked.events_s is not None:
        events = _given_events(asked.events_s, paired)
    elif method == "angle-peak":
        signal = paired.wearable_deg
        held = asked.movement == "exercise"
        peaks, warnings = flexion_peaks(signal, rate_hz=paired.rate_hz, stretch=stretch, held=held)
        events = paired.start_s + peaks
    elif sagittal is None:
        raise TooFewCyclesError(
            "Method 'shank-gyroscope' needs the shank's gyroscope, and this wearable delivers "
            "none. Use 'angle-peak' or 'events'."
        )
    else:
        signal = sagittal
        contacts, warnings = initial_contacts(
            sagittal, paired.wearable_deg, rate_hz=paired.rate_hz, stretch=stretch
        )
        events = paired.start_s + contacts
    if events.size < 2:
        raise TooFewCyclesError(
            f"No cycle found: method {method!r} gave {events.size} event(s) in "
            f"{paired.wearable_deg.size / paired.rate_hz:.1f} s, and a cycle needs two."
        )
    return events, signal, warnings


def _given_events(events_s: ArrayLike, paired: PairedAngles) -> Array:
    """Check the user's events."""
    events = as_float_array(events_s, "events_s", ndim=1)
    require_finite(events, "events_s")
    back = np.flatnonzero(np.diff(events) <= 0)
    if back.size:
        k = int(back[0])
        raise CycleError(
            f"Event {k + 2} at {events[k + 1]:g} s does not come after event {k + 1} at "
            f"{events[k]:g} s: events must increase."
        )
    first, last = paired.start_s, paired.start_s + (paired.wearable_deg.size - 1) / paired.rate_hz
    beyond = events[(events < first - 1e-6) | (events > last + 1e-6)]
    if beyond.size:
        raise CycleError(
            f"{beyond.size} event(s) lie outside the recording ({first:.2f} to {last:.2f} s on the "
            f"wearable's clock), the first at {beyond[0]:g} s. Give times on the wearable's clock."
        )
    return events


def _cut_all(candidates: Candidates, paired: PairedAngles, method: str) -> CycleSet:
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


def _judge(
    reason: list[str],
    asked: _Asked,
    candidates: Candidates,
    cycles: CycleSet,
    signal: Array | None,
) -> list[str]:
    """Give each cycle without a reason the first that applies; return warnings."""
    clock = (asked.paired.start_s, asked.paired.rate_hz)
    _merge(reason, exclude.outside(candidates, *asked.limits_s))
    _merge(reason, exclude.calibrations(candidates, asked.calibration))
    _merge(reason, _gap_reasons(candidates, asked.paired))
    _merge(reason, exclude.pauses(candidates))
    warnings = _leave_out_turns(reason, asked.vertical, candidates, clock) if asked.turns else []
    if signal is not None:
        _merge(reason, exclude.gaps(candidates, signal, "the signal of the events", *clock))
        if asked.movement == "walking":
            _merge(reason, exclude.starts_and_stops(candidates, signal, *clock))
        else:
            _merge(reason, exclude.isolated(candidates))
    _merge(reason, exclude.outlying_durations(cycles.duration_s, cycles.bout, _open(reason)))
    ordinary = _open(reason)
    curves = [("wearable", cycles.wearable_deg), ("reference", cycles.reference_deg)]
    for name, instrument in curves:
        if instrument is not None:
            _merge(reason, exclude.outlying_curves(instrument, cycles.bout, ordinary, name))
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
    _merge(reason, exclude.gaps(candidates, vertical, "the rate about the vertical", *clock))
    eligible = _open(reason)
    change = exclude.heading_changes(candidates, vertical, *clock)
    turning, curved = exclude.turns(change, eligible)
    count = _merge(reason, turning)
    warnings: list[str] = [Notice(curved, "curved-path")] if curved else []
    if count > MOST_IN_TURNS * eligible.sum():
        text = (
            f"{count} of {int(eligible.sum())} cycles were left out as turns. Where the movement "
            'is no walking, `movement = "exercise"` or `turns = false` under [cycles] keeps them.'
        )
        warnings.append(Notice(text, "most-cycles-in-turns", "grave", size=count))
    return warnings


def _force_in(
    reason: list[str], include: dict[int, str], candidates: Candidates, paired: PairedAngles
) -> list[str]:
    """Clear the reasons of cycles forced in, and say so in warnings."""
    warnings: list[str] = []
    gaps = _gap_reasons(candidates, paired)
    for index, why in sorted(include.items()):
        place = (
            f"Cycle {index} ({candidates.start_s[index]:.2f} to {candidates.end_s[index]:.2f} s)"
        )
        if gaps[index]:
            raise CycleError(
                f"{place} cannot be forced in: {gaps[index]}. Take it off the list of forced "
                "cycles."
            )
        if reason[index]:
            text = f"{place} is kept by hand ({why}) in spite of {reason[index]}."
            warnings.append(Notice(text, "cycle-kept-by-hand", "note"))
        reason[index] = ""
    return warnings


def _gap_reasons(candidates: Candidates, paired: PairedAngles) -> list[str]:
    """Reasons of the cycles in which either instrument lacks samples."""
    clock = (paired.start_s, paired.rate_hz)
    reason = exclude.gaps(candidates, paired.wearable_deg, "the wearable's angle", *clock)
    if paired.reference_deg is not None:
        reference = exclude.gaps(candidates, paired.reference_deg, "the reference's angle", *clock)
        _merge(reason, reference)
    return reason


def _merge(reason: list[str], more: list[str]) -> int:
    """Give each cycle that has no reason yet the new one; count them."""
    new = [k for k, text in enumerate(more) if text and not reason[k]]
    for k in new:
        reason[k] = more[k]
    return len(new)


def _open(reason: list[str]) -> NDArray[np.bool_]:
    """Which cycles have no reason yet."""
    return np.array([not text for text in reason], dtype=bool)


def _as_candidates(cycles: CycleSet) -> Candidates:
    """Return the intervals of cycles already judged."""
    nothing = np.zeros(cycles.start_s.size)
    return Candidates(
        cycles.start_s, cycles.end_s, cycles.bout, nothing, nothing, nothing > 0, float("nan")
    )
