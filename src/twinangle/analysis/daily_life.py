"""A recording of a day or a week, analysed stretch by stretch: memory holds one of them.

The first stretch, which reaches to the end of the reference, goes through the whole line as any
recording does. What stays of all of them are the strides, by the wearable alone: when, how long,
range of motion, mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path
from typing import cast

import numpy as np

from twinangle.analysis.merging import merge_sensors
from twinangle.analysis.stretch_by_hand import ByHandInStretches, OfTheWhole
from twinangle.analysis.stretch_cycles import Found, cycles_of
from twinangle.analysis.stretch_trials import (
    calibration_parts,
    in_one_file,
    later_stretch,
    of_memory,
)
from twinangle.cycles.daily_life import DailyLife, daily_life
from twinangle.cycles.day_strides import Strides, joined, strides_of
from twinangle.errors import StudyError
from twinangle.formats import read_recording, read_stretches
from twinangle.formats.stretches import Stretch, about_rows
from twinangle.notices import Notice, kind_of
from twinangle.results import TrialResult
from twinangle.signals.recording import Array, CycleSet, Interval, Recording
from twinangle.study import (
    InertialWearable,
    OrientationWearable,
    SensorFiles,
    Study,
    Trial,
)
from twinangle.thresholds import told_apart
from twinangle.wording import count

# Filters settle, and strides that begin in one stretch end, within the overlap. The difference to
# the whole recording read at once is tested (tests/analysis/test_daily_life.py).
OVERLAP_S = 120.0
LONGEST_REFERENCE_H = 4.0
OnStretch = Callable[[float, float], None]


@dataclass(slots=True, eq=False)
class _Kept:
    """What is kept of one procedure, stretch after stretch."""

    strides: list[Strides] = field(default_factory=list)
    left_out: int = 0
    unread: list[str] = field(default_factory=list)

    def add(self, cycles: CycleSet, core: Interval, compared: Array) -> None:
        """Add the strides that begin in the core of a stretch; `compared`: starts of such."""
        found = strides_of(cycles, compared)
        rows = (found.start_s >= core.start_s) & (found.start_s < core.end_s)
        self.strides.append(found.chosen(rows))
        inside = (cycles.start_s >= core.start_s) & (cycles.start_s < core.end_s)
        self.left_out += int((inside & ~cycles.kept).sum())


def first_stretch(study: Study, trial: Trial) -> tuple[Study, Trial, Iterator[Stretch]]:
    """Return study and trial for the first stretch of a long recording, and all its stretches.

    Raises
    ------
    TwinangleError
        If a file cannot be read in stretches; if neutral standing, functional movement or the
        reference do not lie in the first one.
    """
    found = iter(_stretches(study, trial))
    first = next(found)
    within = of_memory(study, trial, first)
    for name in ("static", "functional"):
        part = getattr(trial, name)
        if isinstance(part, Interval) and part.end_s > first.core.end_s:
            raise StudyError(
                f"{name} ({part.start_s:g} to {part.end_s:g} s) ends after the first stretch of "
                f"the recording ({first.core.end_s:g} s). Accepted: within it, or a file of its "
                "own; or a longer `stretch_min` under [daily_life]."
            )

    def all_of_them() -> Iterator[Stretch]:
        yield first
        yield from found

    return in_one_file(study), within, all_of_them()


def whole_recording(
    study: Study,
    trial: Trial,
    base: tuple[TrialResult, ...],
    of_first: Found,
    parts: Iterator[Stretch],
    on_stretch: OnStretch | None = None,
) -> tuple[TrialResult, ...]:
    """Return the first stretch's results with what the whole recording says of daily life.

    Parameters
    ----------
    study, trial
        As :func:`first_stretch` was given them.
    base : tuple of TrialResult
        Of the first stretch, one a procedure.
    of_first : Found
        The first stretch's cycles by the wearable alone
        (:func:`twinangle.analysis.stretch_cycles.cycles_of_first`).
    parts : iterator of Stretch
        All of them, the first one too.
    on_stretch : callable, optional
        Called after each stretch with the hours that are done and about how many there are.

    Returns
    -------
    tuple of TrialResult
        Each with `daily` and a warning that says what its other numbers rest on.
    """
    kept = {result.procedure: _Kept() for result in base}
    recorded: list[tuple[float, float]] = []
    first = next(parts)
    by_hand = ByHandInStretches(study, trial)

    def add(part: Stretch, of_part: Found) -> None:
        recorded.extend(_recorded(part))
        if not _analysed(trial, part):
            return
        by_hand.add(part, of_part)
        for result in base:
            found, own = of_part.cycles[result.procedure], kept[result.procedure]
            if isinstance(found, str):
                own.unread.append(f"{_hours(part)}: {found}")
            elif found is not None:
                own.add(found, part.core, _compared(result))

    add(first, of_first)
    calibration = calibration_parts(study, trial, first)
    two_files = isinstance(trial.wearable, SensorFiles)
    n_stretches = 1
    tell = _Telling(trial, first, on_stretch)
    tell(first)
    for part in parts:
        n_stretches += 1
        later = later_stretch(study, trial, base, calibration, part)
        add(part, cycles_of(in_one_file(study), later, two_files=two_files))
        tell(part)
    chosen = by_hand.judged(first.recording.source, (recorded[0][0], recorded[-1][1]))
    return tuple(
        _with_chosen(_with_daily(one, kept[one.procedure], recorded, n_stretches, first), chosen)
        for one in base
    )


def _analysed(trial: Trial, part: Stretch) -> bool:
    """Tell whether some of what is to be analysed of a recording lies in the core of a stretch."""
    low = -math.inf if trial.start_s is None else trial.start_s
    high = math.inf if trial.end_s is None else trial.end_s
    return low < part.core.end_s and high > part.core.start_s


def _with_chosen(result: TrialResult, chosen: OfTheWhole) -> TrialResult:
    """Add what decisions on cycles did to the whole recording."""
    if result.daily is None:
        return result
    return replace(
        result,
        daily=replace(result.daily, by_hand=chosen.strides),
        chosen=chosen.counted,
        warnings=(*result.warnings, *chosen.told),
    )


def _compared(result: TrialResult) -> Array:
    """Return when the cycles begin that were held against the reference."""
    cycles = result.cycles
    if cycles is None or cycles.reference_deg is None:
        return np.zeros(0)
    return np.asarray(cycles.start_s[cycles.kept])


class _Telling:
    """Tells how far a recording has come, by the rows of its file."""

    def __init__(self, trial: Trial, first: Stretch, on_stretch: OnStretch | None) -> None:
        self._tell, time_s = on_stretch, first.recording.time_s
        self._start_s = float(time_s[0])
        self._total_h = math.nan
        if on_stretch is not None:
            file = trial.wearable
            path = file.proximal if isinstance(file, SensorFiles) else cast("Path", file)
            step_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
            self._total_h = about_rows(path) * step_s / 3600.0

    def __call__(self, part: Stretch) -> None:
        if self._tell is None:
            return
        end_s = min(part.core.end_s, float(part.recording.time_s[-1]))
        done_h = (end_s - self._start_s) / 3600.0
        self._tell(done_h, max(done_h, self._total_h))


def _with_daily(
    result: TrialResult,
    kept: _Kept,
    recorded: list[tuple[float, float]],
    n_stretches: int,
    first: Stretch,
) -> TrialResult:
    if not kept.strides:
        return result
    found: DailyLife = daily_life(
        joined(kept.strides),
        recorded,
        n_left_out=kept.left_out,
        unread=kept.unread,
        n_stretches=n_stretches,
    )
    told = [Notice(_rests(result, found, first, recorded[0][0]), "daily-life", "note")]
    if kept.unread:
        told.append(
            Notice(
                f"{len(kept.unread)} of {n_stretches} stretches could not be analysed and are not "
                f"in the table of daily life: {'; '.join(kept.unread[:3])}"
                + ("; …" if len(kept.unread) > 3 else ""),
                "daily-life",
            )
        )
    cycles = result.cycles
    if cycles is not None:
        cycles = replace(cycles, warnings=of_the_whole(cycles.warnings))
    warnings = (*of_the_whole(result.warnings), *told)
    return replace(result, daily=found, cycles=cycles, warnings=warnings)


def _rests(result: TrialResult, found: DailyLife, first: Stretch, begin_s: float) -> str:
    """Say which numbers are of the first stretch, and of which cycles in it."""
    cycles, minutes = result.cycles, (first.core.end_s - begin_s) / 60.0
    whole = "the table of daily life is of the whole, by the wearable alone"
    if cycles is None or not cycles.kept.any():
        return f"a recording of {found.duration_h:.1f} h: {whole}."
    low, high = cycles.start_s[cycles.kept][0], cycles.end_s[cycles.kept][-1]
    those = "those with a reference, " if cycles.reference_deg is not None else ""
    return (
        f"a recording of {found.duration_h:.1f} h: agreement and SDs rest on "
        f"{count(int(cycles.kept.sum()), 'cycle')}, {those}from {low:.1f} to {high:.1f} s; the "
        f"list of cycles and the figures are of its first {minutes:.0f} min; {whole}."
    )


def of_the_whole(warnings: tuple[str, ...]) -> tuple[str, ...]:
    """Leave out that cycles without a reference count nowhere: in daily life they do.

    Parameters
    ----------
    warnings : tuple of str
        Of a recording or its cycles.

    Returns
    -------
    tuple of str
    """
    return tuple(text for text in warnings if kind_of(text) != "cycles-without-reference")


def _stretches(study: Study, trial: Trial) -> Iterator[Stretch]:
    """Yield the stretches of the wearable's recording, two files merged."""
    settings = study.wearable
    seconds = 60.0 * cast(float, study.daily_life.stretch_min)
    first_s = max(seconds, _end_of_reference(study, trial))

    def read(path: Path, columns: tuple[str, ...], **first: float) -> Iterator[Stretch]:
        return read_stretches(
            path,
            columns=columns,
            time=settings.time,
            rate_hz=settings.rate_hz,
            time_unit=settings.time_unit,
            source=path.relative_to(study.folder).as_posix(),
            seconds=seconds,
            overlap_s=OVERLAP_S,
            **first,
        )

    if isinstance(trial.wearable, Recording):
        raise StudyError(
            "a recording in memory is not read in stretches; leave [daily_life] out, or "
            "name a file."
        )
    if isinstance(trial.wearable, Path):
        yield from read(trial.wearable, settings.columns, first_s=first_s)
        return
    both = cast("InertialWearable | OrientationWearable", settings)
    lag_s = trial.distal_lag_s
    proximal = read(trial.wearable.proximal, both.proximal.columns, first_s=first_s)
    first = next(proximal)
    end_s = first.core.end_s - (lag_s or 0.0)
    distal = read(trial.wearable.distal, both.distal.columns, first_end_s=end_s)
    for one, other in zip(chain((first,), proximal), distal, strict=False):
        if one.number != other.number:
            raise StudyError(
                f"{one.recording.source} and {other.recording.source}: one of them has no samples "
                "for a whole stretch in which the other has; accepted: two sensors that record "
                "together."
            )
        merged, timing = merge_sensors(one.recording, other.recording, distal_lag_s=lag_s)
        notes = (*merged.notes, *timing.warnings) if one.number == 0 else ()
        yield replace(one, recording=replace(merged, notes=notes))


def _end_of_reference(study: Study, trial: Trial) -> float:
    """Return when the reference ends on the wearable's clock at the latest, 0 without one."""
    if not isinstance(trial.reference, Path) or study.reference is None:
        return 0.0
    settings, clock = study.reference, study.synchronisation
    times = read_recording(
        trial.reference,
        columns=settings.columns,
        time=settings.time,
        rate_hz=settings.rate_hz,
        time_unit=settings.time_unit,
        source=trial.reference.relative_to(study.folder).as_posix(),
    ).time_s
    hours = float(times[-1] - times[0]) / 3600.0
    if hours > LONGEST_REFERENCE_H:
        lasts, most_h = told_apart(hours, LONGEST_REFERENCE_H)
        raise StudyError(
            f"the reference lasts {lasts} h; up to {most_h} h are accepted of a "
            "recording that is read in stretches. Leave [daily_life] out to read it whole."
        )
    expected = clock.expected_lag_s if trial.expected_lag_s is None else trial.expected_lag_s
    most = clock.max_lag_s if trial.max_lag_s is None else trial.max_lag_s
    return float(times[-1]) + expected + most


def _recorded(part: Stretch) -> list[tuple[float, float]]:
    """Return the parts of a stretch's core with samples, gaps of more than a second left out."""
    time = part.recording.time_s
    time = time[(time >= part.core.start_s) & (time < part.core.end_s)]
    if not time.size:
        return []
    breaks = np.flatnonzero(np.diff(time) > 1.0)
    begins = [float(time[0]), *(float(x) for x in time[breaks + 1])]
    ends = [*(float(x) for x in time[breaks]), float(time[-1])]
    return list(zip(begins, ends, strict=True))


def _hours(part: Stretch) -> str:
    time = part.recording.time_s
    return f"{time[0] / 3600:.2f} to {time[-1] / 3600:.2f} h"
