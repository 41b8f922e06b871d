"""The row of a long recording as each of its stretches takes it, with calibration of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import cast

import numpy as np

from twinangle.analysis.merging import merge_sensors
from twinangle.formats import read_event_times, read_recording
from twinangle.formats.stretches import Stretch
from twinangle.results import TrialResult
from twinangle.signals.recording import Interval, Recording
from twinangle.study import (
    InertialWearable,
    OrientationWearable,
    SensorFiles,
    Study,
    Trial,
    merged_columns,
)
from twinangle.study.by_hand import ByHand


def in_one_file(study: Study) -> Study:
    """Return the study as it is once two sensors' files are merged: one file, its columns named."""
    settings = study.wearable
    if not isinstance(settings, InertialWearable | OrientationWearable) or settings.files is None:
        return study
    return replace(study, wearable=merged_columns(settings).model_copy(update={"files": None}))


def of_memory(study: Study, trial: Trial, part: Stretch) -> Trial:
    """Return the trial with a stretch for its recording, and limits that lie within it."""
    first, last = float(part.recording.time_s[0]), float(part.recording.time_s[-1])
    inside = tuple(
        replace(one, start_s=max(one.start_s, first), end_s=min(one.end_s, last))
        for one in trial.mask
        if one.start_s < last and one.end_s > first
    )
    low, high = trial.start_s, trial.end_s
    return replace(
        trial,
        wearable=part.recording,
        stretch=part.core,
        distal_lag_s=None,
        mask=inside,
        events=_events_within(study, trial, first, last),
        start_s=low if low is not None and low > first else None,
        end_s=high if high is not None and high < last else None,
    )


def _on_cycles(by_hand: ByHand | None) -> ByHand | None:
    """Return the decisions that concern every stretch."""
    return None if by_hand is None else ByHand(cycles=by_hand.cycles)


def _events_within(
    study: Study, trial: Trial, first: float, last: float
) -> tuple[float, ...] | None:
    """Return the times of a trial's events that a stretch holds; None for a trial without."""
    if trial.events is None:
        return None
    times = (
        read_event_times(trial.events, label=study.cycles.event)
        if isinstance(trial.events, Path)
        else trial.events
    )
    return tuple(float(each) for each in times if first <= each <= last)


def calibration_parts(study: Study, trial: Trial, first: Stretch) -> dict[str, object]:
    """Return neutral standing and functional movement as recordings of their own."""
    parts: dict[str, object] = {}
    for name in ("static", "functional"):
        part = getattr(trial, name)
        if isinstance(part, Interval):
            time = first.recording.time_s
            rows = (time >= part.start_s) & (time <= part.end_s)
            part = replace(
                first.recording, time_s=time[rows], values=first.recording.values[rows], notes=()
            )
        elif isinstance(part, SensorFiles):
            part = _merged_part(study, part)
        parts[name] = part
    return parts


def _merged_part(study: Study, files: SensorFiles) -> Recording:
    """Read a calibration of two files onto one clock."""
    settings = cast("InertialWearable | OrientationWearable", study.wearable)
    one, other = (
        read_recording(
            path,
            columns=columns.columns,
            time=settings.time,
            rate_hz=settings.rate_hz,
            time_unit=settings.time_unit,
            source=path.relative_to(study.folder).as_posix(),
        )
        for path, columns in zip(files.both, (settings.proximal, settings.distal), strict=True)
    )
    return merge_sensors(one, other)[0]


def later_stretch(
    study: Study,
    trial: Trial,
    base: tuple[TrialResult, ...],
    calibration: dict[str, object],
    part: Stretch,
) -> Trial:
    """Return the trial for a stretch behind the first: no reference, calibration of its own."""
    standing = trial.standing_deg
    if standing is None and getattr(study.wearable, "standing_from_reference", False):
        known = [one.standing.reference_deg for one in base if one.standing is not None]
        standing = next((value for value in known if np.isfinite(value)), None)
    later = replace(
        of_memory(study, trial, part),
        reference=None,
        by_hand=_on_cycles(trial.by_hand),
        standing_deg=standing,
    )
    return replace(later, **calibration)  # type: ignore[arg-type]
