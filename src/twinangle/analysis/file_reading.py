"""One file of a recording, or a file a sensor, read onto one uniform clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np

from twinangle.analysis.declared_units import in_unit
from twinangle.analysis.merging import merge_sensors
from twinangle.errors import RecordingError, UnreadError
from twinangle.formats import UnlikeRatesError, read_recording, refuse_strange_rate
from twinangle.notices import Notice, as_notes
from twinangle.signals.gaps import BRIDGED_S, short_gaps
from twinangle.signals.recording import Array, Recording
from twinangle.signals.sentinels import refuse_sentinels
from twinangle.signals.timing import Part, TimingReport, regularise
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
)

Channel = tuple[Array, Array]  # times and values, on the file's own clock


@contextmanager
def reading() -> Iterator[None]:
    """Tell what a reader of files refuses from what its numbers are refused for afterwards."""
    try:
        yield
    except UnlikeRatesError:
        raise
    except RecordingError as error:
        raise UnreadError(str(error)) from error


@dataclass(frozen=True, slots=True, eq=False)
class FileRead:
    """One file on a uniform clock."""

    recording: Recording
    timing: TimingReport
    trigger: Channel | None
    on_clock: Callable[..., tuple[Recording, TimingReport]]  # again, by its times as they stand

    def only(self, part: Part) -> FileRead:
        """Return the file as if it held no more than a part of it; its trigger stays whole."""
        recording, timing = self.on_clock(part=part)
        return replace(self, recording=recording, timing=timing)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was odd about how it was read, and about its times."""
        return (*as_notes(self.recording.notes, "how-it-was-read"), *self.timing.warnings)


def read_wearable(study: Study, trial: Trial, trigger: str | None) -> FileRead:
    """Read the wearable's file, or its two files, one a sensor."""
    if isinstance(trial.wearable, SensorFiles):
        return read_sensors(study, trial.wearable, trigger, trial.distal_lag_s)
    return read_file(study, trial.wearable, study.wearable, trigger)


def read_sensors(
    study: Study, files: SensorFiles, trigger: str | None, distal_lag_s: float | None
) -> FileRead:
    """Read the two sensors' files onto one clock; a trigger is in the proximal sensor's."""
    settings = cast("InertialWearable | OrientationWearable", study.wearable)
    proximal, channel = _read_columns(
        study, files.proximal, settings.proximal.columns, settings, trigger
    )
    distal, _ = _read_columns(study, files.distal, settings.distal.columns, settings, None)
    on_clock = partial(merge_sensors, proximal, distal, distal_lag_s=distal_lag_s)
    merged, timing = on_clock()
    return FileRead(recording=merged, timing=timing, trigger=channel, on_clock=on_clock)


def read_file(
    study: Study, path: Path | Recording, settings: Wearable | Reference, trigger: str | None
) -> FileRead:
    """Read the declared columns of one file onto a uniform clock, and its trigger channel."""
    recording, channel = _read_columns(study, path, settings.columns, settings, trigger)
    if isinstance(settings, AngleWearable | AngleReference | MarkerReference):
        recording = in_unit(recording, settings.columns, settings.unit)
    on_clock = partial(regularise, recording)
    uniform, timing = on_clock()
    return FileRead(recording=uniform, timing=timing, trigger=channel, on_clock=on_clock)


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
        with reading():
            found = read_recording(
                path,
                columns=names,
                time=settings.time,
                rate_hz=settings.rate_hz,
                time_unit=settings.time_unit,
                source=path.relative_to(study.folder).as_posix(),
            )
        refuse_strange_rate(found, settings.time_unit)
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


def bridged_notes(file: FileRead, settings: Wearable | Reference) -> tuple[str, ...]:
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
