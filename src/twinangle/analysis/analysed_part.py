"""Which part of a recording counts: `start_s` and `end_s`, what calibration needs, and the mask.

A recording is cut to the stretch between `start_s` and `end_s` by the times that stand in its file,
before anything is made of them, and as far beyond as neutral standing and functional movement lie:
between these and the walk no sample may be missing, or an orientation without magnetometers would
lose its heading. Within it, the times of what is to be analysed alone make the even clock, and it
votes on heading, axis, sign and cycles, and with the functional movement on the clock, unless that
lies on another one (clock_of_part.py). Masked stretches are gaps for everything.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    InertialRecording,
    Interval,
    PairedAngles,
    Recording,
    SensorPair,
)
from twinangle.signals.timing import Part
from twinangle.study import Study, Trial
from twinangle.thresholds import told_apart

_LEAST_S = 1.0


def taken_part(study: Study, trial: Trial, recording: Recording) -> Part | None:
    """Return what a row takes of the wearable's recording; None where that is all of it.

    Parameters
    ----------
    study : Study
        A study whose clock comes from events keeps the whole recording: they lie beside the walk.
    trial : Trial
        With its limits, calibration stretches and mask.
    recording : Recording
        The whole, on a uniform clock.

    Raises
    ------
    RecordingError
        If the limits leave less than a second of the recording, or a masked stretch reaches
        outside it.
    """
    _check_within(trial, recording)
    part = analysed(trial)
    if part is None or study.synchronisation.method == "event":
        return None
    return Part(kept=_hull(trial, part), counted=part)


def as_cut(study: Study, trial: Trial) -> Trial:
    """Return a row without those limits at which its recording was cut: nothing lies beyond them.

    Parameters
    ----------
    study : Study
        As for :func:`taken_part`.
    trial : Trial
        A row of the trials table.
    """
    part = analysed(trial)
    if part is None or study.synchronisation.method == "event":
        return trial
    hull = _hull(trial, part)
    return replace(
        trial,
        start_s=None if hull.start_s == part.start_s else trial.start_s,
        end_s=None if hull.end_s == part.end_s else trial.end_s,
    )


def blank_masked(trial: Trial, recording: Recording) -> Recording:
    """Return a recording with masked samples as NaN."""
    masked = masked_samples(trial, recording.time_s)
    if not masked.any():
        return recording
    values = recording.values.copy()
    values[masked] = np.nan
    return replace(recording, values=values)


def masked_samples(trial: Trial, time_s: Array) -> NDArray[np.bool_]:
    """Return which samples lie in a masked stretch, its ends included."""
    masked = np.zeros(time_s.size, dtype=bool)
    for stretch in trial.mask:
        masked |= (time_s >= stretch.start_s) & (time_s <= stretch.end_s)
    return masked


def analysed(trial: Trial) -> Interval | None:
    """Return the stretch to be analysed on the wearable's clock; None for the whole recording."""
    if trial.start_s is None and trial.end_s is None:
        return None
    return Interval(
        -np.inf if trial.start_s is None else trial.start_s,
        np.inf if trial.end_s is None else trial.end_s,
    )


def synchronised_angle(trial: Trial, angle: AngleRecording) -> AngleRecording:
    """Return the angle by which the clocks are found, the rest of it missing.

    What lies between the limits, and the functional movement: both instruments recorded it, and
    unlike strides it can be told which bend is which.
    """
    return _counted(angle, *_synchronised(trial, angle.time_s))


def only_analysed(trial: Trial, angle: AngleRecording) -> AngleRecording:
    """Return the angle between the limits alone, without the functional movement."""
    return _counted(angle, *_synchronised(trial, angle.time_s, part_alone=True))


def _counted(angle: AngleRecording, rows: slice, counted: NDArray[np.bool_]) -> AngleRecording:
    values = np.where(counted, angle.angle_deg, np.nan)[rows]
    return replace(angle, angle_deg=values, start_s=float(angle.time_s[rows.start]))


def synchronised_sensors(trial: Trial, pair: SensorPair, *, part_alone: bool = False) -> SensorPair:
    """Return the same stretches of both sensors; `part_alone` without the functional movement."""
    rows, counted = _synchronised(trial, pair.proximal.time_s, part_alone=part_alone)
    if counted.all():
        return pair
    return SensorPair(*(_rows(one, rows, counted) for one in (pair.proximal, pair.distal)))


def _synchronised(
    trial: Trial, time: Array, *, part_alone: bool = False
) -> tuple[slice, NDArray[np.bool_]]:
    """Return the rows from the first to the last that count, and which rows do."""
    part = analysed(trial)
    counted = np.ones(time.size, dtype=bool)
    if part is not None:
        used = isinstance(trial.functional, Interval) and not part_alone
        functional = (trial.functional,) if used else ()
        counted = np.logical_or.reduce(
            [(time >= one.start_s) & (time <= one.end_s) for one in (part, *functional)]
        )
    rows = np.flatnonzero(counted)
    return slice(int(rows[0]), int(rows[-1]) + 1) if rows.size else slice(0, time.size), counted


def _rows(sensor: InertialRecording, rows: slice, counted: NDArray[np.bool_]) -> InertialRecording:
    keep = counted[rows, None]
    return replace(
        sensor,
        accelerometer=np.where(keep, sensor.accelerometer[rows], np.nan),
        gyroscope=np.where(keep, sensor.gyroscope[rows], np.nan),
        magnetometer=None,
        start_s=float(sensor.time_s[rows.start]),
    )


def mask_reference(trial: Trial, paired: PairedAngles) -> PairedAngles:
    """Return both angles with the reference masked as the wearable is."""
    if not trial.mask or paired.reference_deg is None:
        return paired
    masked = masked_samples(trial, paired.time_s)
    return replace(
        paired,
        wearable_deg=np.where(masked, np.nan, paired.wearable_deg),
        reference_deg=np.where(masked, np.nan, paired.reference_deg),
    )


def mask_notes(trial: Trial) -> tuple[str, ...]:
    """Say what was left out by hand, and why."""
    if not trial.mask:
        return ()
    total = sum(one.end_s - one.start_s for one in trial.mask)
    places = "; ".join(f"{one.place}: {one.reason}" for one in trial.mask)
    text = f"{total:.1f} s are masked in the trials table and count as gaps ({places})."
    return (Notice(text, "masked", "note"),)


def _hull(trial: Trial, part: Interval) -> Interval:
    """Return the stretch that holds all that anything needs."""
    stretches = [part, *(x for x in (trial.static, trial.functional) if isinstance(x, Interval))]
    return Interval(min(x.start_s for x in stretches), max(x.end_s for x in stretches))


def _check_within(trial: Trial, recording: Recording) -> None:
    """Refuse limits and masks that the recording does not hold."""
    first, last = float(recording.time_s[0]), float(recording.time_s[-1])
    step = float(recording.time_s[1] - recording.time_s[0])
    what = "the recording" if trial.stretch is None else "the stretch that is read of it"
    runs = (
        f"{what} runs from {first:.2f} to {last:.2f} s on its own clock "
        f"({recording.time_s.size} samples)"
    )
    if trial.stretch is not None:
        runs += "; agreement and SDs are of the first one, `stretch_min` under [daily_life] long"
    low, high = _or(trial.start_s, first), _or(trial.end_s, last)
    left = max(min(high, last) - max(low, first), 0.0)
    if left < min(_LEAST_S, last - first):
        there, needed = told_apart(left, _LEAST_S, 2)
        raise RecordingError(
            f"{recording.source}: `start_s` and `end_s` ({low:g} to {high:g} s) leave {there} s "
            f"of it, at least {needed} s is needed; {runs}."
        )
    for one in trial.mask:
        if one.start_s < first - step or one.end_s > last + step:
            raise RecordingError(
                f"{recording.source}: the masked stretch {one.place} ({one.reason}) reaches "
                f"outside the recording; {runs}."
            )


def _or(value: float | None, other: float) -> float:
    return other if value is None else value
