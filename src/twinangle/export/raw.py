"""The recordings themselves, each file of the study written once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, cast

import numpy as np

from twinangle.errors import StudyError
from twinangle.export.channel_rows import describe
from twinangle.export.instrument_names import column_of, pairs_of, system_of
from twinangle.export.labels import Name
from twinangle.export.plain_files import write_csv
from twinangle.export.recordings import TIME, Samples, write_recording
from twinangle.export.sessions import Start
from twinangle.formats import UnlikeRatesError, read_event_times, read_recording
from twinangle.signals.recording import Array, Interval, Recording, Synchronisation
from twinangle.study import (
    InertialWearable,
    OrientationWearable,
    Reference,
    SensorFiles,
    Study,
    Trial,
    Wearable,
)
from twinangle.study.instruments import Part

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

    def add(
        self,
        pairs: Sequence[tuple[Part, Trial]],
        name: Name,
        clocks: Mapping[tuple[str, str], Synchronisation],
    ) -> None:
        """Write every file of a recording that is not written yet.

        Parameters
        ----------
        pairs : sequence of (Part, Trial)
            Each wearable against each reference, with the row as it has it.
        name : Name
            The recording's names.
        clocks : mapping
            Of pairs of names, the clocks that are known; they place one instrument's start on
            another's day.
        """
        cells: dict[str, str] = {}
        placed: dict[tuple[str, str], Placed] = {}
        for part, trial in pairs:
            if trial.exclude and trial.by_hand is None:
                continue  # no recording of this wearable or this reference
            if isinstance(trial.wearable, Recording) or isinstance(trial.reference, Recording):
                raise StudyError(f"row {trial.row}: is in memory; only files can be exported.")
            of = ("wearable", part.wearable)
            if of not in placed:
                first = not placed
                own, placed[of] = self._wearable(part, trial, name, first=first)
                cells |= own
            of = ("reference", part.reference)
            if of not in placed and trial.reference is not None and part.study.reference:
                cells[column_of(*of, "reference")], placed[of] = self._reference(part, trial, name)
        self.cells[pairs[0][1].row] = cells
        self._place(placed, clocks)

    def _place(
        self,
        placed: Mapping[tuple[str, str], Placed],
        clocks: Mapping[tuple[str, str], Synchronisation],
    ) -> None:
        """Note when each recording began, on the day of the first wearable's."""
        known: dict[tuple[str, str], Callable[[float], float]] = {}  # its clock to the first's
        first = next((key for key in placed if key[0] == "wearable"), None)
        if first is None:
            return
        known[first] = lambda time: time
        for _ in range(2 * len(placed)):  # from instrument to instrument
            for (wearable, reference), clock in clocks.items():
                one, other = ("wearable", wearable), ("reference", reference)
                if one in known and other not in known:
                    known[other] = _after(known[one], clock.to_wearable)
                elif other in known and one not in known:
                    known[one] = _after(known[other], clock.to_reference)
        began = placed[first]
        for key, file in placed.items():
            if key == first or key not in known:
                continue
            at = next(i for i, start in enumerate(self.starts) if start.path == file.where)
            if self.starts[at].seconds is None:
                seconds = known[key](file.start_s) - began.start_s
                self.starts[at] = replace(self.starts[at], day=began.day, seconds=seconds)

    def _reference(self, part: Part, trial: Trial, name: Name) -> tuple[str, Placed]:
        """Write the reference's file."""
        settings = cast("Reference", part.study.reference)
        triggers = self._triggers("reference", part.reference)
        system = system_of("reference", part.reference)
        path = cast("Path", trial.reference)
        found = self._one(trial, name, path, settings, settings.columns, system, triggers)
        return found.where, found

    def _triggers(self, kind: str, name: str) -> tuple[str, ...]:
        """Return the channels of the pulse in an instrument's file, whatever it is held to."""
        several = (
            getattr(part.study.synchronisation, f"{kind}_trigger")
            for part in pairs_of(self.study)
            if getattr(part, kind) == name
        )
        return tuple(dict.fromkeys(filter(None, several)))

    def _wearable(
        self, part: Part, trial: Trial, name: Name, *, first: bool
    ) -> tuple[dict[str, str], Placed]:
        """Write what a wearable recorded; return its cells of the table, and the first file."""
        cells: dict[str, str] = {}
        own = partial(column_of, "wearable", part.wearable)
        where = cast("Path | SensorFiles", trial.wearable)
        cells[own("wearable")], placed = self._signals(part, trial, name, where, "", first=first)
        for stretch, addition in (("static", "Standing"), ("functional", "Functional")):
            apart = getattr(trial, stretch)
            if apart is not None and not isinstance(apart, Interval):
                cells[own(stretch)], _ = self._signals(part, trial, name, apart, addition)
        if isinstance(trial.events, Path):
            cells[own("events")] = self._events(part, trial.events, name)
        if isinstance(trial.wearable, SensorFiles):
            cells["name_end"] = f"{name.ending}_motion.tsv"
        return cells, placed

    def _signals(
        self,
        part: Part,
        trial: Trial,
        name: Name,
        where: Path | SensorFiles,
        addition: str,
        *,
        first: bool = False,
    ) -> tuple[str, Placed]:
        """Write one file of a wearable or its two; return the table's cell, and the first file."""
        settings = part.study.wearable
        name = name.of_task(addition)
        triggers = () if addition else self._triggers("wearable", part.wearable)
        system = partial(system_of, "wearable", part.wearable)
        began = 0.0 if first else None
        if isinstance(where, Path):
            columns = settings.columns
            placed = self._one(
                trial, name, where, settings, columns, system(), triggers, seconds=began
            )
            return placed.where, placed
        sensors = cast("InertialWearable | OrientationWearable", settings)
        own, other = sensors.proximal.columns, sensors.distal.columns
        placed = self._one(
            trial, name, where.proximal, sensors, own, system("proximal"), triggers, seconds=began
        )
        self._one(trial, name, where.distal, sensors, other, system("distal"), ())
        return f"{name.folder}/motion/{name.beginning}", placed

    def _one(
        self,
        trial: Trial,
        name: Name,
        path: Path,
        settings: Wearable | Reference,
        columns: tuple[str, ...],
        system: str,
        triggers: tuple[str, ...],
        *,
        seconds: float | None = None,
    ) -> Placed:
        """Write one file, unless it is written; its start is `seconds` after its day's midnight."""
        # The two files of a trial are found by the trial's own name: written for each trial.
        of_sensor = system.lower().endswith(("proximal", "distal"))
        key = (path, system, name if of_sensor else None)
        if key in self._written:
            return self._written[key]
        source = path.relative_to(self.study.folder).as_posix()
        try:
            recording = read_recording(
                path,
                columns=[*columns, *triggers],
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

    def _events(self, part: Part, path: Path, name: Name) -> str:
        """Write event times with their one column; return the place in the data set."""
        system = f"_tracksys-{system_of('wearable', part.wearable)}" if part.wearable else ""
        where = f"sourcedata/{name.beginning}{system}{name.ending}_times.csv"
        times = read_event_times(path, label=part.study.cycles.event).tolist()
        write_csv(self.root / where, ("time_s",), ((time,) for time in times))
        return where


def _after(first: Callable[[float], float], clock: Callable[[Array], Array]) -> Any:
    """Return one clock placed by another that is placed itself."""
    return lambda time: first(float(clock(np.array(time))))


def time_name(settings: Wearable | Reference) -> str:
    """Return the name of the column of seconds: the study's own where it counts seconds."""
    name = settings.time if settings.time and not settings.rate_hz else TIME
    return name if name not in settings.columns else f"{name}_of_recording"
