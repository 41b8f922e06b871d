"""The recordings themselves, each file of the study written once."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

import numpy as np

from twinangle.errors import StudyError
from twinangle.export.channel_rows import describe
from twinangle.export.labels import Name
from twinangle.export.plain_files import write_csv
from twinangle.export.recordings import TIME, Samples, write_recording
from twinangle.export.sessions import Start
from twinangle.formats import UnlikeRatesError, read_event_times, read_recording
from twinangle.signals.recording import Interval, Recording, Synchronisation
from twinangle.study import (
    InertialWearable,
    OrientationWearable,
    Reference,
    SensorFiles,
    Study,
    Trial,
    Wearable,
)

SINCE_1970_S = 1e8  # a clock beyond three years counts from no recording's start


@dataclass(frozen=True, slots=True)
class Placed:
    """One file as written: where it is, its first time, and the invented day of its start."""

    where: str  # relative to the data set
    start_s: float
    day: int


@dataclass(slots=True)
class RawWriter:
    """Writes recordings; one file that serves several trials is written once."""

    study: Study
    root: Path
    starts: list[Start] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    cells: dict[int, dict[str, str]] = field(default_factory=dict)  # by row of the table
    _written: dict[tuple[object, ...], Placed] = field(default_factory=dict)

    @property
    def n_recordings(self) -> int:
        """How many recordings were written."""
        return len(self.starts)

    def add(self, trial: Trial, name: Name, clock: Synchronisation | None) -> None:
        """Write every file of a trial that is not written yet; `clock` places the reference."""
        if isinstance(trial.wearable, Recording) or isinstance(trial.reference, Recording):
            raise StudyError(f"row {trial.row}: is in memory; only files can be exported.")
        cells: dict[str, str] = {}
        cells["wearable"], wearable = self._wearable(trial, name, trial.wearable, "")
        if trial.reference is not None and self.study.reference is not None:
            cells["reference"] = self._reference(trial, name, trial.reference, wearable, clock)
        for part, addition in (("static", "Standing"), ("functional", "Functional")):
            where = getattr(trial, part)
            if where is not None and not isinstance(where, Interval):
                cells[part], _ = self._wearable(trial, name, where, addition)
        if isinstance(trial.events, Path):
            cells["events"] = self._events(trial.events, name)
        if isinstance(trial.wearable, SensorFiles):
            cells["name_end"] = f"{name.ending}_motion.tsv"
        self.cells[trial.row] = cells

    def _reference(
        self,
        trial: Trial,
        name: Name,
        path: Path,
        wearable: Placed,
        clock: Synchronisation | None,
    ) -> str:
        """Write the reference's file, its start on the day of the wearable's."""
        settings = cast("Reference", self.study.reference)
        trigger = self.study.synchronisation.reference_trigger
        placed = self._one(trial, name, path, settings, settings.columns, "reference", trigger)
        if clock is not None:
            began = float(clock.to_wearable(np.array(placed.start_s))) - wearable.start_s
            at = next(i for i, start in enumerate(self.starts) if start.path == placed.where)
            if self.starts[at].seconds is None:
                self.starts[at] = replace(self.starts[at], day=wearable.day, seconds=began)
        return placed.where

    def _wearable(
        self, trial: Trial, name: Name, where: Path | SensorFiles, addition: str
    ) -> tuple[str, Placed]:
        """Write the wearable's file or its two; return the table's cell, and the first file."""
        settings = self.study.wearable
        name = name.of_task(addition)
        trigger = None if addition else self.study.synchronisation.wearable_trigger
        began = None if addition else 0.0
        if isinstance(where, Path):
            columns = settings.columns
            placed = self._one(
                trial, name, where, settings, columns, "wearable", trigger, seconds=began
            )
            return placed.where, placed
        sensors = cast("InertialWearable | OrientationWearable", settings)
        own, other = sensors.proximal.columns, sensors.distal.columns
        placed = self._one(
            trial, name, where.proximal, sensors, own, "proximal", trigger, seconds=began
        )
        self._one(trial, name, where.distal, sensors, other, "distal", None)
        return f"{name.folder}/motion/{name.beginning}", placed

    def _one(
        self,
        trial: Trial,
        name: Name,
        path: Path,
        settings: Wearable | Reference,
        columns: tuple[str, ...],
        system: str,
        trigger: str | None,
        *,
        seconds: float | None = None,
    ) -> Placed:
        """Write one file, unless it is written; its start is `seconds` after its day's midnight."""
        # The two files of a trial are found by the trial's own name: written for each trial.
        key = (path, system, trigger, name if system in ("proximal", "distal") else None)
        if key in self._written:
            return self._written[key]
        source = path.relative_to(self.study.folder).as_posix()
        try:
            recording = read_recording(
                path,
                columns=[*columns, trigger] if trigger else columns,
                time=settings.time,
                rate_hz=settings.rate_hz,
                time_unit=settings.time_unit,
                source=source,
            )
        except UnlikeRatesError as error:
            raise StudyError(
                f"{source}: its trigger runs at another rate than its signals, and one recording "
                "of the data set has one rate. Give the clock that the trigger tells as `lag_s` "
                'and `drift_ppm` with `method = "manual"`, and export that study.'
            ) from error
        samples = self._samples(recording, trial, settings)
        where = write_recording(self.root, name, system, samples, task=trial.condition)
        self.starts.append(Start(name, where, trial.row, seconds))
        self._written[key] = Placed(where, float(recording.time_s[0]), trial.row)
        return self._written[key]

    def _samples(
        self, recording: Recording, trial: Trial, settings: Wearable | Reference
    ) -> Samples:
        if abs(recording.time_s[0]) > SINCE_1970_S:
            self.notes.append(
                f"{recording.source}: its times look like seconds since a calendar date, which "
                "tells when the recording was made; they are kept, as the trials table goes by them"
            )
        return Samples(
            time_s=recording.time_s,
            values=recording.columns(recording.channels),
            channels=describe(recording, settings, self.study.joint, trial.side),
            time_name=time_name(settings),
            notes=tuple(note.removeprefix(f"{recording.source}: ") for note in recording.notes),
        )

    def _events(self, path: Path, name: Name) -> str:
        """Write event times with their one column; return the place in the data set."""
        where = f"sourcedata/{name.beginning}{name.ending}_times.csv"
        times = read_event_times(path, label=self.study.cycles.event).tolist()
        write_csv(self.root / where, ("time_s",), ((time,) for time in times))
        return where


def time_name(settings: Wearable | Reference) -> str:
    """Return the name of the column of seconds: the study's own where it counts seconds."""
    name = settings.time if settings.time and not settings.rate_hz else TIME
    return name if name not in settings.columns else f"{name}_of_recording"
