"""The recordings of a run, one after the other: kept from before, analysed here, or on a cluster.

Each gives its results, the figures that show it alone, and its traces, as files in one folder.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from twinangle.analysis.study import files_for, own_procedures, study_parameters
from twinangle.cluster import Cluster
from twinangle.code_identity import code_and_machine
from twinangle.formats import companion_files
from twinangle.kept import (
    Key,
    Steps,
    Store,
    hash_ahead,
    hash_of_files,
    key_of,
    key_of_measurements,
)
from twinangle.output_folder.staging import Tell
from twinangle.parallel import Workers
from twinangle.reached import ENDING, Reached, write_reached
from twinangle.report.figure_files import EMBEDDED, Written
from twinangle.report.figures import TRACES, points_each, write_recording
from twinangle.results import TrialResult
from twinangle.results.grouping import Key as Identity
from twinangle.results.grouping import TrialGroup, grouped, stems_of
from twinangle.results.tables.cycle_points import write_trace_part
from twinangle.study import Study, Trial
from twinangle.study.instruments import SEVERAL
from twinangle.study.overrides_table import first_stray
from twinangle.visible import visible_texts

if TYPE_CHECKING:
    from twinangle.analysis.measured import Measurements

FIGURES = "figures"
MEASURED = "measured"  # how entries are called that hold what no confidence enters
How = tuple[str, tuple[str, ...], int, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class RecordingDone:
    """What became of one recording."""

    trial: Trial
    results: tuple[TrialResult, ...]  # one a procedure, without traces
    drawn: tuple[Written, ...]
    seconds: float  # of analysis and drawing, where it was last done
    kept: bool  # whether it was taken from what is kept


@dataclass(frozen=True, slots=True)
class _Found:
    """What is kept, or sent back by a worker: everything but the files."""

    results: tuple[TrialResult, ...]
    drawn: tuple[Written, ...]
    seconds: float
    lasts: bool  # whether a rerun of the same would find the same
    machine: Mapping[str, str]  # the code and the machine that found it


class Recordings:
    """How a run comes by its recordings.

    Parameters
    ----------
    study : Study
        The settings.
    folder : Path
        Where figures and traces go.
    image_formats : tuple of str
        Further formats of the figures.
    workers : Workers
        Processes here.
    cluster : Cluster, optional
        Workers elsewhere, which take the place of those here.
    steps : Steps
        What of earlier runs is kept.
    """

    def __init__(
        self,
        study: Study,
        folder: Path,
        image_formats: tuple[str, ...],
        workers: Workers,
        cluster: Cluster | None,
        steps: Steps,
    ) -> None:
        self.study, self.folder, self.image_formats = study, folder, image_formats
        self.workers, self._cluster, self.steps = workers, cluster, steps
        self._stems = stems_of(study.recording_keys)
        self._own = own_procedures(study)
        self._strays = [first_stray(part.study) for part in study.parts] or [first_stray(study)]
        # what an own procedure imports besides cannot be known: nothing of it is kept
        self._kept = None if self._own or study.in_memory else steps.store
        self._why_not = (
            "recordings with own procedures are not kept: what their code imports is not known"
            if self._own and steps.store is not None
            else ""
        )
        self._keys: dict[Identity, Key | None] = {}
        if self._kept is not None:
            hash_ahead((file for t in study.trials for file in files_for(study, t)), workers.jobs)
            self._keys = {t.identity: self._key(t) for t in study.trials}
        there = self._kept
        self.known: frozenset[Identity] = frozenset(
            name
            for name, key in self._keys.items()
            if key is not None and there is not None and not steps.fresh and there.has(key)
        )

    @property
    def trace_parts(self) -> list[Path]:
        """Where the recordings' traces wait to be put together."""
        return [_trace_part(self.folder, stem) for stem in self._stems.values()]

    def in_order(
        self, tell: Tell, meanwhile: Callable[[], None] = lambda: None
    ) -> Iterator[RecordingDone]:
        """Yield the recordings in the order of the trials table.

        `meanwhile` is called once other processes have begun, if there is anything to analyse.
        """
        (self.folder / FIGURES).mkdir(exist_ok=True)
        if self._why_not:
            tell(self._why_not)
        wanting = self._wanting
        analysed = self._analysed(wanting)
        ahead: dict[Identity, _Found | None] = {}
        if wanting:
            meanwhile()
            ahead = {name: self._taken(name) for name in self._keys if name in self.known}
        for trial in self.study.trials:
            key = self._keys.get(trial.identity)
            if trial.identity in self.known and key is not None:
                taken = ahead.pop(trial.identity, None) or self.steps.take(key)
                if taken is not None:
                    yield _done(trial, taken, kept=True)
                    continue
                found = self._here.analyse_and_draw(trial)  # the entry was damaged
            else:
                found = next(analysed)
            same = found.lasts and found.machine == code_and_machine()
            if key is not None and same and key == self._key(trial):
                name = " ".join(trial.identity)
                self.steps.put(key, found, self._files_of(trial, found), name=name)
            yield _done(trial, found, kept=False)

    def _taken(self, name: Identity) -> _Found | None:
        key = self._keys[name]
        return None if key is None else self.steps.take(key)

    @property
    def _wanting(self) -> list[Trial]:
        return [trial for trial in self.study.trials if trial.identity not in self.known]

    @property
    def drawn_apart(self) -> bool:
        """Whether this process draws the recordings that others analyse.

        So it is where these are fewer than the processes: what figures are drawn with can then be
        loaded beside the analysis. The traces of days are not sent about for it.
        """
        few = self._cluster is None and 0 < len(self._wanting) < self.workers.jobs
        return few and self.study.daily_life.stretch_min is None

    def _analysed(self, trials: list[Trial]) -> Iterator[_Found]:
        if self.drawn_apart:
            return map(self._here.draw, self.workers.in_order(self._here.analyse, trials))
        if self._cluster is None:
            return self.workers.in_order(self._here.analyse_and_draw, trials)
        away = partial(_analyse_away, self._stems, self.image_formats)
        return self._cluster.in_order(away, self.study, trials, files_for, self.folder, self._own)

    @property
    def _here(self) -> _Hands:
        """What analyses a recording in a process of this machine, with parts that are kept."""
        kept = None if self._kept is None else (self._kept, self.steps.fresh, self._keys)
        return _Hands(self._stems, self.image_formats, self.study, self.folder, kept)

    def _key(self, trial: Trial) -> Key | None:
        study = self.study
        files = files_for(study, trial)
        home = study.folder.resolve()
        if any(not each.is_relative_to(home) for path in files for each in companion_files(path)):
            return (
                None  # it is read with the recording, and lies where a study's hash does not reach
            )
        rows = [own for _, own in study.rows_of(trial)] if study.parts else [trial]
        rows = [replace(own, row=0) for own in rows]  # it may move to another place in the table
        return key_of(
            code=code_and_machine(),
            settings=_settings(study),
            row=[rows, self._strays],
            files=files,
            folder=study.folder,
            drawing=[*self._stems_of(trial), *self.image_formats, points_each(len(self._stems))],
        )

    def _stems_of(self, trial: Trial) -> list[str]:
        """Return how the files of one recording begin, one stem a wearable."""
        n = len(trial.identity)
        return [stem for key, stem in self._stems.items() if key[:n] == trial.identity]

    def _files_of(self, trial: Trial, found: _Found) -> list[str]:
        """Return the names of one recording's files below the folder, whether they are there."""
        stems = self._stems_of(trial)
        parts = [_trace_part(Path(), stem).as_posix() for stem in stems]
        return [*_files_drawn(self.image_formats, stems, found.drawn), *parts]


def _settings(study: Study) -> dict[str, Any]:
    """Return what the study file says, by section; of several instruments, each pair's sections."""
    found = study_parameters(study) | {"study": {"joint": study.joint}}
    for k, part in enumerate(study.parts):
        names = {"wearable": part.wearable, "reference": part.reference, "in": part.sections}
        own = study_parameters(part.study)
        found |= {f"pair {k}": names} | {f"pair {k} {name}": own[name] for name in own}
    return {name: found[name] for name in found if name not in SEVERAL.values()}


def _done(trial: Trial, found: _Found, *, kept: bool) -> RecordingDone:
    return RecordingDone(trial, found.results, found.drawn, found.seconds, kept)


def _lasts(results: Sequence[TrialResult], measured: Measurements) -> bool:
    """Whether a rerun of the same would find the same, as far as something failed.

    What was measured says why it did; a recording that is read in stretches is not measured whole.
    What is excluded is so by its row, as a pair of instruments of which one was not there.
    """
    from twinangle.analysis.measured import lasts
    from twinangle.analysis.opened import UNEXPECTED

    stretches = (text for one in results if one.daily is not None for text in one.daily.unread)
    if any(UNEXPECTED in text for text in stretches):
        return False
    several = (*results, *(one.undecided for one in results if one.undecided is not None))
    failed = any(one.status == "failed" for one in several)
    return not failed or (bool(measured) and lasts(measured))


@dataclass(frozen=True, slots=True)
class _Analysed:
    """What the analysis of one recording gives, traces included."""

    results: tuple[TrialResult, ...]
    lasts: bool  # whether a rerun of the same would find the same
    seconds: float


@dataclass(frozen=True, slots=True)
class _Hands:
    """What analyses and draws recordings, one after the other, wherever that is done."""

    stems: Mapping[Identity, str]
    image_formats: tuple[str, ...]
    study: Study
    folder: Path
    kept: tuple[Store, bool, Mapping[Identity, Key | None]] | None = None  # and whether it is fresh

    @property
    def _steps(self) -> Steps:
        if self.kept is None:
            return Steps()
        store, fresh, _ = self.kept
        return Steps(store, self.folder, study=self.study.title, fresh=fresh)

    def analyse_and_draw(self, trial: Trial) -> _Found:
        """Do all there is to do for a recording."""
        return self.draw(self.analyse(trial))

    def analyse(self, trial: Trial) -> _Analysed:
        """Analyse a recording, with what of it does not depend on what has changed."""
        start = time.perf_counter()
        if self.study.daily_life.stretch_min is None:
            key = None if self.kept is None else self.kept[2][trial.identity]
            results, lasts = _analysed_again(self.study, trial, self._steps, key)
        else:
            stem = next(stem for key, stem in self.stems.items() if key[:5] == trial.identity)
            results = _in_stretches(self.study, trial, self.folder / f"{stem}{ENDING}")
            lasts = _lasts(results, {})
        return _Analysed(results, lasts, time.perf_counter() - start)

    def draw(self, found: _Analysed) -> _Found:
        """Draw a recording's figures, write its traces, and return the rest."""
        start, study = time.perf_counter(), self.study
        points = points_each(len(self.stems))
        how = study.joint, tuple(self.image_formats), points, study.report.documents
        drawn: list[Written] = []
        for group in grouped(visible_texts(found.results), stems=self.stems):
            if group.worked:
                drawn += _drawn(group, self.folder, how, self._steps)
            part = _trace_part(self.folder, group.stem)
            write_trace_part(group.results, part, study.report.traces)
        bare = tuple(replace(result, paired=None) for result in found.results)
        seconds = found.seconds + time.perf_counter() - start
        return _Found(bare, tuple(drawn), seconds, found.lasts, code_and_machine())


def _in_stretches(study: Study, trial: Trial, place: Path) -> tuple[TrialResult, ...]:
    """Analyse a recording of a day or a week, and tell meanwhile how far that has come."""
    from twinangle.analysis import analyse_trial

    label = " ".join(trial.identity)
    try:
        return analyse_trial(
            study, trial, on_stretch=lambda done, of: write_reached(place, Reached(label, done, of))
        )
    finally:
        place.unlink(missing_ok=True)


def _analysed_again(
    study: Study, trial: Trial, steps: Steps, key: Key | None
) -> tuple[tuple[TrialResult, ...], bool]:
    """Analyse a recording; what no confidence or margin changes may be kept from before.

    Returned with it is whether a rerun would find the same.
    """
    from twinangle.analysis import analyse_trial  # a rerun may come here for none
    from twinangle.analysis.measured import may_be_kept

    measured: Measurements = {}
    if key is None:
        results = analyse_trial(study, trial, measured=measured)
        return results, _lasts(results, measured)
    of_measured = key_of_measurements(key, _settings(study))
    measured.update(steps.take(of_measured) or {})
    known = len(measured)
    results = analyse_trial(study, trial, measured=measured)
    unchanged = hash_of_files(files_for(study, trial), study.folder) == key.files
    if known and not unchanged:  # what was kept is of another file
        return analyse_trial(study, trial), False
    if len(measured) > known and unchanged and may_be_kept(measured):
        steps.put(of_measured, measured, name=f"{MEASURED}: {trial.label}")
    return results, _lasts(results, measured)


def _drawn(group: TrialGroup, folder: Path, how: How, steps: Steps) -> list[Written]:
    """Draw a recording, or take its figures where what they show is the same."""
    joint, image_formats, points, documents = how

    def make(main: TrialResult, stem: str) -> list[Written]:
        only = TrialGroup((main,), stem)
        return write_recording(only, joint, folder / FIGURES, image_formats, points, documents)

    return next(
        steps.in_order(
            "figures of a recording",
            make,
            {group.stem: group.stem},
            takes=lambda stem: (stem, how),
            of=group.main,
            files=partial(_files_drawn, image_formats, [group.stem]),
        )
    )


def _files_drawn(
    image_formats: Sequence[str], stems: Sequence[str], drawn: Iterable[Written]
) -> list[str]:
    """Return the names below the folder of a recording's figures, and of its traces to zoom."""
    figures = [name for one in drawn for name in one.files((EMBEDDED, *image_formats))]
    return [f"{FIGURES}/{name}" for name in (*figures, *(f"{stem}{TRACES}" for stem in stems))]


def _analyse_away(
    stems: Mapping[Identity, str],
    image_formats: tuple[str, ...],
    study: Study,
    trial: Trial,
    folder: Path,
) -> _Found:
    """Do the same in a folder of its own, the way a cluster asks for it."""
    (folder / FIGURES).mkdir(parents=True, exist_ok=True)
    return _Hands(stems, image_formats, study, folder).analyse_and_draw(trial)


def _trace_part(folder: Path, stem: str) -> Path:
    """Return where one recording's traces wait to be put together with the others'."""
    return folder / f"{stem}.traces"
