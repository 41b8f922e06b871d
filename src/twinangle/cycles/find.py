"""Find, judge and cut the cycles of one trial."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.checks import as_float_array, require_finite
from twinangle.cycles import exclude
from twinangle.cycles.bouts import Candidates, split_into_bouts
from twinangle.cycles.events import flexion_peaks, initial_contacts, refuse_constant
from twinangle.cycles.normalise import cut
from twinangle.cycles.overrides import Override, resolve
from twinangle.errors import CycleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet, MaskedStretch, PairedAngles

Method = Literal["shank-gyroscope", "angle-peak", "events"]
LEAST_CYCLES = 3
# König et al. (2014), Gait Posture 39:615-617, of spatio-temporal parameters of 12 healthy adults
# over consecutive cycles: means reliable from 10, variability from 50. For angles by analogy.
CYCLES_FOR_MEAN = 10
CYCLES_FOR_SD = 50
LEAST_RATE_HZ = 20.0


def find_cycles(
    paired: PairedAngles,
    *,
    method: Method = "shank-gyroscope",
    sagittal_rate_rad_s: ArrayLike | None = None,
    vertical_rate_rad_s: ArrayLike | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    events_s: ArrayLike | None = None,
    overrides: Sequence[Override] = (),
    masked: Sequence[MaskedStretch] = (),
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
        any repetitive movement. "events": the times given.
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
    sagittal = _on_samples(sagittal_rate_rad_s, "sagittal_rate_rad_s", paired)
    vertical = _on_samples(vertical_rate_rad_s, "vertical_rate_rad_s", paired)
    low, high = -np.inf if start_s is None else start_s, np.inf if end_s is None else end_s
    stretch = _samples_within(paired, low, high)
    refuse_constant(paired.wearable_deg[stretch], "the wearable's angle")
    if paired.reference_deg is not None:
        refuse_constant(paired.reference_deg[stretch], "the reference's angle")
    events, signal, warnings = _events(paired, method, sagittal, events_s, stretch)
    candidates = split_into_bouts(events, keep_pauses=method == "events", stretch_s=(low, high))
    cycles = _cut_all(candidates, paired, method)
    include, by_hand = resolve(overrides, cycles.start_s, cycles.end_s)
    reason = [
        f"by hand: {by_hand[k]}" if k in by_hand else "" for k in range(candidates.start_s.size)
    ]
    _merge(reason, exclude.masked(candidates, masked))
    said = _judge(reason, candidates, cycles, paired, signal, vertical, (low, high))
    said += _force_in(reason, include, candidates, paired)
    cycles = replace(cycles, reason=tuple(reason))
    _require_enough(cycles, said)
    return replace(cycles, warnings=(*warnings, *said, *_small_numbers(int(cycles.kept.sum()))))


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
    _require_enough(new, [])
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


def _samples_within(paired: PairedAngles, start_s: float, end_s: float) -> slice:
    """Return the samples of the stretch to analyse, at least one second of them."""
    inside = np.flatnonzero((paired.time_s >= start_s) & (paired.time_s <= end_s))
    if inside.size < paired.rate_hz:
        last = paired.start_s + (paired.wearable_deg.size - 1) / paired.rate_hz
        raise CycleError(
            f"No cycle found: {inside.size / paired.rate_hz:.2f} s of the recording "
            f"({paired.start_s:.2f} to {last:.2f} s) lie within {start_s:g} to {end_s:g} s, and at "
            "least 1 s is needed. Check start_s and end_s, on the wearable's clock."
        )
    return slice(int(inside[0]), int(inside[-1]) + 1)


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
    paired: PairedAngles,
    method: str,
    sagittal: Array | None,
    events_s: ArrayLike | None,
    stretch: slice,
) -> tuple[Array, Array | None, tuple[str, ...]]:
    """Event times, the signal they come from (None when given) and warnings."""
    warnings: tuple[str, ...] = ()
    signal: Array | None = None
    if events_s is not None:
        events = _given_events(events_s, paired)
    elif method == "angle-peak":
        signal = paired.wearable_deg
        peaks, warnings = flexion_peaks(signal, rate_hz=paired.rate_hz, stretch=stretch)
        events = paired.start_s + peaks
    elif sagittal is None:
        raise CycleError(
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
        raise CycleError(
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
    candidates: Candidates,
    cycles: CycleSet,
    paired: PairedAngles,
    signal: Array | None,
    vertical: Array | None,
    stretch_s: tuple[float, float],
) -> list[str]:
    """Give each cycle without a reason the first that applies; return warnings."""
    clock = (paired.start_s, paired.rate_hz)
    _merge(reason, exclude.outside(candidates, *stretch_s))
    _merge(reason, _gap_reasons(candidates, paired))
    _merge(reason, exclude.pauses(candidates))
    warnings: list[str] = []
    if vertical is None:
        text = (
            "No rate about the vertical: turns are found only where they make a cycle's duration "
            "or curve an outlier. Give the straight stretches (start_s, end_s) where there were "
            "turns."
        )
        warnings.append(Notice(text, "turns-not-seen", "note"))
    else:
        _merge(reason, exclude.gaps(candidates, vertical, "the rate about the vertical", *clock))
        change = exclude.heading_changes(candidates, vertical, *clock)
        turning, curved = exclude.turns(change, _open(reason))
        _merge(reason, turning)
        warnings += [Notice(curved, "curved-path")] if curved else []
    if signal is not None:
        _merge(reason, exclude.gaps(candidates, signal, "the signal of the events", *clock))
        _merge(reason, exclude.starts_and_stops(candidates, signal, *clock))
    _merge(reason, exclude.outlying_durations(cycles.duration_s, cycles.bout, _open(reason)))
    ordinary = _open(reason)
    curves = [("wearable", cycles.wearable_deg), ("reference", cycles.reference_deg)]
    for name, instrument in curves:
        if instrument is not None:
            _merge(reason, exclude.outlying_curves(instrument, cycles.bout, ordinary, name))
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


def _require_enough(cycles: CycleSet, warnings: list[str]) -> None:
    """Refuse fewer than three kept cycles, with the reasons and what was noticed besides."""
    kept = int(cycles.kept.sum())
    if kept >= LEAST_CYCLES:
        return
    dropped = [
        f"{begin:.2f} s: {text}"
        for begin, text in zip(cycles.start_s, cycles.reason, strict=True)
        if text
    ]
    shown = "; ".join(dropped[:10])
    if len(dropped) > 10:
        kinds = Counter(text.split(":")[0] for text in cycles.reason if text)
        counts = ", ".join(f"{kind} {count}" for kind, count in kinds.most_common())
        shown += f"; and {len(dropped) - 10} more (in all: {counts})"
    text = (
        f"Only {kept} of {len(cycles.reason)} cycles could be kept, and at least {LEAST_CYCLES} "
        f"are needed. Dropped: {shown or 'none'}."
    )
    raise CycleError(" ".join([text, *warnings]))


def _small_numbers(kept: int) -> list[str]:
    """Say when there are fewer cycles than a mean or an SD needs."""
    if kept < CYCLES_FOR_MEAN:
        what = f"mean curves need {CYCLES_FOR_MEAN} and standard deviations {CYCLES_FOR_SD}"
    elif kept < CYCLES_FOR_SD:
        what = f"standard deviations over cycles need {CYCLES_FOR_SD}"
    else:
        return []
    why = (
        "by analogy with what spatio-temporal parameters of consecutive cycles need (König et al. "
        "2014, Gait Posture 39:615)"
    )
    return [Notice(f"{kept} cycles kept: {what}, {why}.", "few-cycles", size=-kept)]
