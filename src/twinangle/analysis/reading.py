"""From a trial's files to signals on uniform clocks, and to each procedure's joint motion."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from twinangle.analysis.analysed_part import (
    analysed,
    as_cut,
    blank_masked,
    mask_notes,
    taken_part,
)
from twinangle.analysis.file_facts import FileFacts, Role, facts_of
from twinangle.analysis.file_reading import (
    Channel,
    FileRead,
    bridged_notes,
    read_file,
    read_sensors,
    read_wearable,
    reading,
)
from twinangle.analysis.same_walk import Marks, marks_of, no_marks
from twinangle.analysis.sensor_clocks import clock_warnings
from twinangle.errors import StudyError, TwinangleError
from twinangle.formats import (
    read_event_times,
)
from twinangle.reference.goniometer import reference_angle
from twinangle.reference.odd_readings import reference_notes
from twinangle.signals.channel_checks import refuse_constant
from twinangle.signals.gaps import bridge, bridge_pair
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    Interval,
    JointMotion,
    OrientationPair,
    Recording,
    SensorPair,
)
from twinangle.signals.timing import Breaks, TimingReport
from twinangle.study import (
    AngleWearable,
    InertialWearable,
    SensorFiles,
    Study,
    Trial,
    Wearable,
    merged_columns,
    settings_of,
)
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.sensor_pair import build_orientation_pair, build_sensor_pair
from twinangle.wearable.unit_checks import sensor_warnings, zero_row_warnings


@dataclass(frozen=True, slots=True, eq=False)
class TrialSignals:
    """What a trial's files hold, read and checked."""

    motion: Callable[[str], JointMotion]  # a procedure's name to the joint's motion
    reference: AngleRecording | None
    events_s: Array | None
    wearable_trigger: Channel | None
    reference_trigger: Channel | None
    sensors: SensorPair | None = None  # the raw signals, where the wearable delivers them
    recorded: SensorPair | None = None  # the same before short gaps were bridged
    standing: SensorPair | None = None  # neutral standing of its own file, likewise
    warnings: tuple[str, ...] = ()
    timing: Mapping[str, TimingReport] = field(default_factory=dict)
    breaks: tuple[Breaks, Breaks] = (Breaks(), Breaks())  # the wearable's, the reference's
    marks: Marks = field(default_factory=no_marks)  # of the samples, by which to know them again
    files: tuple[FileFacts, ...] = ()  # what each file was found to hold


@dataclass(frozen=True, slots=True, eq=False)
class _Raw:
    """The raw signals of a trial: with short gaps bridged, as recorded, and standing's own."""

    bridged: SensorPair
    recorded: SensorPair
    standing: SensorPair | None


def read_trial(study: Study, trial: Trial) -> TrialSignals:
    """Read and check every file of a trial.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        One row of the trials table.

    Returns
    -------
    TrialSignals
        Signals on uniform clocks; gaps are NaN.

    Raises
    ------
    TwinangleError
        If a file cannot be read or its signals are not what the study says; the message names
        file, row or channel, what was found and what would be accepted.
    """
    study = settings_of(study, trial)
    clock = study.synchronisation
    wearable = read_wearable(study, trial, clock.wearable_trigger)
    recorded = wearable.recording
    files = [facts_of("wearable", recorded, wearable.timing, study.wearable)]
    timing = {"wearable": _numbers_alone(wearable.timing)}  # of the whole file, as its length is
    part = taken_part(study, trial, recorded)
    wearable = wearable if part is None else wearable.only(part)
    wearable = replace(wearable, recording=blank_masked(trial, wearable.recording))
    motion, raw, found = _motion(study, trial, wearable, files)
    warnings = [
        *mask_notes(trial),
        *wearable.warnings,
        *bridged_notes(wearable, study.wearable),
        *found,
    ]
    reference, angle = None, None
    if trial.reference is not None and study.reference is not None:
        reference = read_file(study, trial.reference, study.reference, clock.reference_trigger)
        limb = {"joint": study.joint, "side": trial.side}
        angle = reference_angle(reference.recording, study.reference, **limb)
        timing["reference"] = _numbers_alone(reference.timing)
        files.append(facts_of("reference", reference.recording, reference.timing, study.reference))
        warnings += reference.warnings
        warnings += bridged_notes(reference, study.reference)
        warnings += reference_notes(reference.recording, study.reference, **limb)
    return TrialSignals(
        motion=motion,
        reference=angle,
        events_s=_event_times(study, trial, recorded, wearable.recording),
        wearable_trigger=wearable.trigger,
        reference_trigger=reference.trigger if reference is not None else None,
        sensors=raw.bridged if raw is not None else None,
        recorded=raw.recorded if raw is not None else None,
        standing=raw.standing if raw is not None else None,
        warnings=tuple(warnings),
        timing=timing,
        breaks=(
            wearable.timing.breaks,
            Breaks() if reference is None else reference.timing.breaks,
        ),
        marks=marks_of(trial, wearable.recording),
        files=tuple(files),
    )


def _numbers_alone(timing: TimingReport) -> TimingReport:
    return replace(timing, warnings=(), breaks=Breaks())


def reference_fault(study: Study, trial: Trial) -> str:
    """Return what is wrong with the reference's file, read by itself; empty where nothing is.

    For whoever lists every fault of a trial of which another file cannot be read.
    """
    settings = study.reference
    if trial.reference is None or settings is None:
        return ""
    try:
        file = read_file(study, trial.reference, settings, study.synchronisation.reference_trigger)
        reference_angle(file.recording, settings, joint=study.joint, side=trial.side)
    except TwinangleError as error:
        return str(error)
    return ""


def _event_times(
    study: Study, trial: Trial, recorded: Recording, counted: Recording
) -> Array | None:
    """Return the times of events, without those in the part of the recording that is cut off."""
    if trial.events is None:
        return None
    with reading():
        times = (
            read_event_times(trial.events, label=study.cycles.event)
            if isinstance(trial.events, Path)
            else np.asarray(trial.events, dtype=np.float64)
        )
    cut_off = np.zeros(times.size, dtype=bool)
    for whole, kept, sign in ((recorded, counted, 1), (recorded, counted, -1)):
        end = 0 if sign > 0 else -1
        beyond = sign * times < sign * kept.time_s[end]
        cut_off |= beyond & (sign * times >= sign * whole.time_s[end])
    return np.asarray(times[~cut_off])


def _motion(
    study: Study, trial: Trial, file: FileRead, files: list[FileFacts]
) -> tuple[Callable[[str], JointMotion], _Raw | None, tuple[str, ...]]:
    """Return what turns a procedure's name into motion, the raw signals, and what was odd.

    Further files that are read go to `files`.
    """
    settings = study.wearable
    if isinstance(settings, AngleWearable):
        return _ready_angles(settings, file.recording), None, ()
    recorded, warnings = _pair(settings, file.recording, moving=True)
    walk = bridge_pair(recorded) if isinstance(recorded, SensorPair) else recorded
    stated = trial.standing_deg
    inputs = WearableTrial(
        walk=walk,
        static=_part(study, trial.static, "static", files),
        functional=_part(study, trial.functional, "functional", files),
        joint=study.joint,
        side=trial.side,
        standing_deg=settings.standing_deg if stated is None else stated,
        axis_method=settings.axis_method,
        analysed=analysed(as_cut(study, trial)),
        walking=study.cycles.movement == "walking",
    )
    if not isinstance(walk, SensorPair) or not isinstance(recorded, SensorPair):
        return partial(estimate_motion, inputs), None, warnings
    if settings.files is not None:
        warnings += clock_warnings(walk)
    standing = inputs.static if isinstance(inputs.static, SensorPair) else None
    return partial(estimate_motion, inputs), _Raw(walk, recorded, standing), warnings


def _part(
    study: Study, part: Interval | Path | SensorFiles | None, role: Role, files: list[FileFacts]
) -> Interval | SensorPair | OrientationPair | None:
    """Return neutral standing or functional movement, read when it has a file of its own."""
    if part is None or isinstance(part, Interval):
        return part
    if isinstance(part, SensorFiles):
        file = read_sensors(study, part, None, None)
    else:
        file = read_file(study, part, study.wearable, None)
    files.append(facts_of(role, file.recording, file.timing, study.wearable))
    return _pair(study.wearable, file.recording, moving=role == "functional")[0]


def _pair(
    settings: Wearable, recording: Recording, *, moving: bool
) -> tuple[SensorPair | OrientationPair, tuple[str, ...]]:
    if not isinstance(settings, AngleWearable):
        settings = merged_columns(settings)
    if isinstance(settings, InertialWearable):
        pair = build_sensor_pair(recording, settings, moving=moving)
        told = zero_row_warnings(recording, settings)
        unit = settings.units.magnetometer
        return pair, (*told, *sensor_warnings(pair, magnetometer_unit=unit))
    if isinstance(settings, AngleWearable):
        raise StudyError('a wearable of kind "angle" takes no standing or functional recording.')
    return build_orientation_pair(recording, settings), ()


def _ready_angles(settings: AngleWearable, recording: Recording) -> Callable[[str], JointMotion]:
    """Return each procedure's ready-made angle in degrees, flexion positive."""
    degrees = 180 / np.pi if settings.unit == "rad" else 1.0
    start_s = float(recording.time_s[0])
    rate_hz = (recording.time_s.size - 1) / float(recording.time_s[-1] - recording.time_s[0])

    def motion(procedure: str) -> JointMotion:
        column = settings.by_procedure[procedure]
        values = recording.columns([column])[:, 0]
        refuse_constant(values, column, recording.source)
        angle = AngleRecording(
            angle_deg=bridge(settings.sign * (values * degrees + settings.offset), rate_hz),
            start_s=start_s,
            rate_hz=rate_hz,
            source=recording.source,
        )
        return JointMotion(angle=angle)

    return motion
