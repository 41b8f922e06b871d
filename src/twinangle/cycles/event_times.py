"""Where cycles begin: the events of a recording, found in a signal or given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.checks import as_float_array, require_finite
from twinangle.cycles.events import flexion_peaks, initial_contacts
from twinangle.cycles.judge import Asked
from twinangle.errors import CycleError, TooFewCyclesError
from twinangle.signals.recording import Array, Interval, PairedAngles


def samples_within(paired: PairedAngles, limits_s: tuple[float, float]) -> NDArray[np.bool_]:
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


def beside_calibration(
    asked: Asked, within: NDArray[np.bool_]
) -> tuple[Asked, NDArray[np.bool_], list[str]]:
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


def on_samples(values: ArrayLike | None, name: str, paired: PairedAngles) -> Array | None:
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


def events_of(
    asked: Asked, stretch: NDArray[np.bool_]
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
