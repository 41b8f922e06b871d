"""From a trial's files to signals on uniform clocks, and to each procedure's joint motion."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np

from twinangle.analysis.analysed_part import analysed, cut_recording, mask_notes
from twinangle.analysis.declared_units import in_unit
from twinangle.analysis.file_facts import FileFacts, Role, facts_of
from twinangle.analysis.merging import merge_sensors
from twinangle.analysis.sensor_clocks import clock_warnings
from twinangle.errors import StudyError, TwinangleError
from twinangle.formats import (
    UnlikeRatesError,
    read_event_times,
    read_recording,
    refuse_strange_rate,
)
from twinangle.notices import Notice, as_notes
from twinangle.reference.goniometer import reference_angle
from twinangle.reference.odd_readings import reference_notes
from twinangle.signals.channel_checks import refuse_constant
from twinangle.signals.gaps import BRIDGED_S, bridge, bridge_pair, short_gaps
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    Interval,
    JointMotion,
    OrientationPair,
    Recording,
    SensorPair,
)
from twinangle.signals.sentinels import refuse_sentinels
from twinangle.signals.timing import TimingReport, regularise
from twinangle.study import (
    AngleReference,
    AngleWearable,
    InertialWearable,
    MarkerReference,
    OrientationWearable,
    Reference,
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

Channel = tuple[Array, Array]  # times and values, on the file's own clock


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
    files: tuple[FileFacts, ...] = ()  # what each file was found to hold


@dataclass(frozen=True, slots=True, eq=False)
class _File:
    """One file on a uniform clock."""

    recording: Recording
    timing: TimingReport
    trigger: Channel | None

    @property
    def warnings(self) -> tuple[str, ...]:
        return (*as_notes(self.recording.notes, "how-it-was-read"), *self.timing.warnings)


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
    wearable = _read_wearable(study, trial, clock.wearable_trigger)
    recorded = wearable.recording
    files = [facts_of("wearable", recorded, wearable.timing, study.wearable)]
    wearable = replace(wearable, recording=cut_recording(study, trial, recorded))
    motion, raw, found = _motion(study, trial, wearable, files)
    timing = {"wearable": replace(wearable.timing, warnings=())}
    warnings = [*mask_notes(trial), *wearable.warnings, *_bridged(wearable, study.wearable), *found]
    reference, angle = None, None
    if trial.reference is not None and study.reference is not None:
        reference = _read(study, trial.reference, study.reference, clock.reference_trigger)
        limb = {"joint": study.joint, "side": trial.side}
        angle = reference_angle(reference.recording, study.reference, **limb)
        timing["reference"] = replace(reference.timing, warnings=())
        files.append(facts_of("reference", reference.recording, reference.timing, study.reference))
        warnings += reference.warnings
        warnings += _bridged(reference, study.reference)
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
        files=tuple(files),
    )


def reference_fault(study: Study, trial: Trial) -> str:
    """Return what is wrong with the reference's file, read by itself; empty where nothing is.

    For whoever lists every fault of a trial of which another file cannot be read.
    """
    settings = study.reference
    if trial.reference is None or settings is None:
        return ""
    try:
        file = _read(study, trial.reference, settings, study.synchronisation.reference_trigger)
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


def _read(
    study: Study, path: Path | Recording, settings: Wearable | Reference, trigger: str | None
) -> _File:
    """Read the declared columns of one file onto a uniform clock, and its trigger channel."""
    recording, channel = _read_columns(study, path, settings.columns, settings, trigger)
    if isinstance(settings, AngleWearable | AngleReference | MarkerReference):
        recording = in_unit(recording, settings.columns, settings.unit)
    uniform, timing = regularise(recording)
    return _File(recording=uniform, timing=timing, trigger=channel)


def _read_columns(
    study: Study,
    path: Path | Recording,
    columns: tuple[str, ...],
    settings: Wearable | Reference,
    trigger: str | None,
) -> tuple[Recording, Channel | None]:
    """Read columns of one file as they stand, and the trigger channel where there is one."""
    signals = list(columns)

    def read(names: list[str]) -> Recording:
        if isinstance(path, Recording):
            refuse_strange_rate(path)
            return _select(path, names)
        found = read_recording(
            path,
            columns=names,
            time=settings.time,
            rate_hz=settings.rate_hz,
            time_unit=settings.time_unit,
            source=path.relative_to(study.folder).as_posix(),
        )
        refuse_strange_rate(found)
        refuse_sentinels(found, [name for name in names if name in columns])
        return found

    if trigger is None:
        return read(signals), None
    try:
        recording = triggered = read([*signals, trigger])
    except UnlikeRatesError:  # markers with an analogue trigger: each on its own samples
        recording, triggered = read(signals), read([trigger])
    channel = (triggered.time_s, triggered.columns([trigger])[:, 0])
    return _select(recording, signals), channel


def _read_wearable(study: Study, trial: Trial, trigger: str | None) -> _File:
    """Read the wearable's file, or its two files, one a sensor."""
    if isinstance(trial.wearable, SensorFiles):
        return _read_sensors(study, trial.wearable, trigger, trial.distal_lag_s)
    return _read(study, trial.wearable, study.wearable, trigger)


def _read_sensors(
    study: Study, files: SensorFiles, trigger: str | None, distal_lag_s: float | None
) -> _File:
    """Read the two sensors' files onto one clock; a trigger is in the proximal sensor's."""
    settings = cast("InertialWearable | OrientationWearable", study.wearable)
    proximal, channel = _read_columns(
        study, files.proximal, settings.proximal.columns, settings, trigger
    )
    distal, _ = _read_columns(study, files.distal, settings.distal.columns, settings, None)
    merged, timing = merge_sensors(proximal, distal, distal_lag_s=distal_lag_s)
    return _File(recording=merged, timing=timing, trigger=channel)


def _select(recording: Recording, names: list[str]) -> Recording:
    """Return the named channels alone."""
    return Recording(
        time_s=recording.time_s,
        values=recording.columns(names),
        channels=tuple(names),
        units=tuple(recording.units[recording.channels.index(name)] for name in names),
        source=recording.source,
        notes=recording.notes,
    )


def _motion(
    study: Study, trial: Trial, file: _File, files: list[FileFacts]
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
        analysed=analysed(trial),
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
        file = _read_sensors(study, part, None, None)
    else:
        file = _read(study, part, study.wearable, None)
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


def _bridged(file: _File, settings: Wearable | Reference) -> tuple[str, ...]:
    """Say how many lost samples were bridged; markers have their own length, and say so."""
    if isinstance(settings, MarkerReference):
        return ()
    recording = file.recording
    names: list[str] = list(recording.channels)
    if isinstance(settings, InertialWearable):  # a slow magnetometer is empty in most rows
        both = cast("InertialWearable", merged_columns(settings))
        slow = {*(both.proximal.magnetometer or ()), *(both.distal.magnetometer or ())}
        names = [name for name in names if name not in slow]
    missing = np.asarray(np.isnan(recording.columns(names)).any(axis=1))
    count, n_gaps = short_gaps(missing, file.timing.rate_hz)
    if not count:
        return ()
    text = (
        f"{recording.source}: {count} of {missing.size} samples were lost in {n_gaps} gap(s) of up "
        f"to {BRIDGED_S:g} s and are bridged by a cubic; longer gaps stay gaps."
    )
    return (Notice(text, "bridged-samples", "note"),)
