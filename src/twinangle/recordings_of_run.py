"""The recordings of a run, one after the other: kept from before, analysed here, or on a cluster.

Each gives its results, the figures that show it alone, and its traces, as files in one folder.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from twinangle.analysis import analyse_trial, files_for, own_procedures
from twinangle.analysis.study import study_parameters
from twinangle.cluster import Cluster
from twinangle.code_identity import our_code
from twinangle.kept import Key, Store, key_of
from twinangle.output_folder.staging import Tell
from twinangle.parallel import Workers
from twinangle.report.figure_files import EMBEDDED, Written
from twinangle.report.figures import TRACES, points_each, write_recording
from twinangle.results import TrialResult
from twinangle.results.grouping import Key as Identity
from twinangle.results.grouping import grouped, stems_of
from twinangle.results.tables.cycle_points import write_trace_part
from twinangle.study import Study, Trial
from twinangle.visible import visible_texts

FIGURES = "figures"


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
    kept : Store, optional
        Analyses of earlier runs.
    fresh : bool
        Whether none of them is taken.
    """

    def __init__(
        self,
        study: Study,
        folder: Path,
        image_formats: tuple[str, ...],
        workers: Workers,
        cluster: Cluster | None,
        kept: Store | None,
        fresh: bool,
    ) -> None:
        self.study, self.folder, self.image_formats = study, folder, image_formats
        self.workers, self._cluster = workers, cluster
        self._stems = stems_of(study.recording_keys)
        self._own = own_procedures(study)
        # what an own procedure imports besides cannot be known: nothing of it is kept
        self._kept = None if self._own or study.in_memory else kept
        self._why_not = (
            "recordings with own procedures are not kept: what their code imports is not known"
            if self._own and kept is not None
            else ""
        )
        self._keys = {} if self._kept is None else {t.identity: self._key(t) for t in study.trials}
        there = self._kept
        self.known: frozenset[Identity] = frozenset(
            name
            for name, key in self._keys.items()
            if key is not None and there is not None and not fresh and there.has(key)
        )

    @property
    def trace_parts(self) -> list[Path]:
        """Where the recordings' traces wait to be put together."""
        return [_trace_part(self.folder, stem) for stem in self._stems.values()]

    def in_order(self, tell: Tell) -> Iterator[RecordingDone]:
        """Yield the recordings in the order of the trials table."""
        (self.folder / FIGURES).mkdir(exist_ok=True)
        if self._why_not:
            tell(self._why_not)
        wanting = [trial for trial in self.study.trials if trial.identity not in self.known]
        analysed = self._analysed(wanting)
        troubles: set[str] = set()
        for trial in self.study.trials:
            key = self._keys.get(trial.identity)
            if trial.identity in self.known and key is not None and self._kept is not None:
                taken = self._kept.take(key)
                if taken is not None:
                    found, files = taken
                    _unpack(files, self.folder)
                    yield _done(trial, found, kept=True)
                    continue
                found = self._here(trial)  # the entry was damaged
            else:
                found = next(analysed)
            if key is not None and self._kept is not None and _may_be_kept(found):
                packed = found, self._pack(trial, found)
                name = " ".join(trial.identity)
                trouble = self._kept.put(key, packed, study=self.study.title, recording=name)
                if trouble and trouble not in troubles:
                    troubles.add(trouble)
                    tell(f"nothing is kept for the next run: {trouble}")
            yield _done(trial, found, kept=False)
        if self._kept is not None:
            self._kept.trim()

    def _analysed(self, trials: list[Trial]) -> Iterator[_Found]:
        if self._cluster is None:
            here = partial(_analyse_and_draw, self._stems, self.image_formats, self.study)
            return self.workers.in_order(partial(_into, here, self.folder), trials)
        away = partial(_analyse_away, self._stems, self.image_formats)
        return self._cluster.in_order(away, self.study, trials, files_for, self.folder, self._own)

    def _here(self, trial: Trial) -> _Found:
        return _analyse_and_draw(self._stems, self.image_formats, self.study, trial, self.folder)

    def _key(self, trial: Trial) -> Key | None:
        study = self.study
        rows = [own for _, own in study.rows_of(trial)] if study.parts else [trial]
        return key_of(
            code=our_code(),
            settings={**study_parameters(study), "study": {"joint": study.joint}},
            row=rows,
            files=files_for(study, trial),
            folder=study.folder,
            drawing=[*self._stems_of(trial), *self.image_formats, points_each(len(self._stems))],
        )

    def _stems_of(self, trial: Trial) -> list[str]:
        """Return how the files of one recording begin, one stem a wearable."""
        n = len(trial.identity)
        return [stem for key, stem in self._stems.items() if key[:n] == trial.identity]

    def _pack(self, trial: Trial, found: _Found) -> dict[str, bytes]:
        """Return the files of one recording by their names below the folder."""
        suffixes = (EMBEDDED, *self.image_formats)
        names = [f"{FIGURES}/{one.file}.{suffix}" for one in found.drawn for suffix in suffixes]
        for stem in self._stems_of(trial):
            names += [f"{FIGURES}/{stem}{TRACES}", _trace_part(Path(), stem).as_posix()]
        return {
            name: (self.folder / name).read_bytes()
            for name in names
            if (self.folder / name).is_file()
        }


def _done(trial: Trial, found: _Found, *, kept: bool) -> RecordingDone:
    return RecordingDone(trial, found.results, found.drawn, found.seconds, kept)


def _may_be_kept(found: _Found) -> bool:
    """Whether a rerun would find the same: what failed may have failed for another reason."""
    return all(one.status in ("ok", "pooled") for one in found.results)


def _unpack(files: Mapping[str, bytes], folder: Path) -> None:
    for name, content in files.items():
        (folder / name).write_bytes(content)


def _into(work: partial[_Found], folder: Path, trial: Trial) -> _Found:
    return work(trial, folder)


def _analyse_and_draw(
    stems: Mapping[Identity, str],
    image_formats: tuple[str, ...],
    study: Study,
    trial: Trial,
    folder: Path,
) -> _Found:
    """Analyse one recording, draw its figures, write its traces, and return the rest."""
    start = time.perf_counter()
    results = analyse_trial(study, trial)
    points = points_each(len(stems))
    drawn: list[Written] = []
    for group in grouped(visible_texts(results), stems=stems):
        if group.worked:
            drawn += write_recording(group, study.joint, folder / FIGURES, image_formats, points)
        write_trace_part(group.results, _trace_part(folder, group.stem), study.report.traces)
    bare = tuple(replace(result, paired=None) for result in results)
    return _Found(bare, tuple(drawn), time.perf_counter() - start)


def _analyse_away(
    stems: Mapping[Identity, str],
    image_formats: tuple[str, ...],
    study: Study,
    trial: Trial,
    folder: Path,
) -> _Found:
    """Do the same in a folder of its own, the way a cluster asks for it."""
    (folder / FIGURES).mkdir(parents=True, exist_ok=True)
    return _analyse_and_draw(stems, image_formats, study, trial, folder)


def _trace_part(folder: Path, stem: str) -> Path:
    """Return where one recording's traces wait to be put together with the others'."""
    return folder / f"{stem}.traces"
