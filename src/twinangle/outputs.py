"""Writing a run's outputs so that nothing is lost or half-written.

Everything is first written to a temporary folder beside the output folder and only then moved in,
file by file, each move atomic. A list of what the last run wrote lets the next one remove what it
no longer writes, and nothing else: a file that somebody put into the folder stays.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

from twinangle.analysis import analyse_trial, pool_study
from twinangle.errors import StudyError
from twinangle.parallel import Workers
from twinangle.report import write_report
from twinangle.report.document import write_parts
from twinangle.report.drawing import Written, write_trial
from twinangle.report.grouping import Key, TrialGroup, stems_of
from twinangle.report.style import font_families
from twinangle.results import StudyResults, TrialResult
from twinangle.results.serialise import to_text
from twinangle.results.tables.curves import write_trace_part
from twinangle.study import Study, Trial

MANIFEST = ".twinangle-outputs.json"
RESULTS = "results.json"


def check_output_folder(folder: Path, *, study_folder: Path, inputs: Iterable[Path]) -> None:
    """Refuse an output folder that is, or holds, the inputs, or that is no folder.

    Raises
    ------
    StudyError
        If `folder` is the study's folder, contains it or one of the input files, or exists and is
        not a folder.
    """
    target = folder.resolve()
    if target.exists() and not target.is_dir():
        raise StudyError(f"--out {folder}: this is a file; name a folder.")
    home = study_folder.resolve()
    if home == target or home.is_relative_to(target):
        raise StudyError(
            f"--out {folder}: this folder holds the study itself. Name another folder, for "
            f"example {folder / 'results'}."
        )
    for path in inputs:
        if path.resolve().is_relative_to(target):
            raise StudyError(
                f"--out {folder}: the input file {path.name} lies in it. Name a folder without "
                "input files."
            )


def write_outputs(
    results: StudyResults, folder: Path, *, jobs: int = 1, image_formats: tuple[str, ...] = ()
) -> tuple[Path, ...]:
    """Write report, figures, tables, methods text and `results.json` into `folder`.

    Parameters
    ----------
    results : StudyResults
        What :func:`twinangle.analysis.run_study` returned.
    folder : Path
        Created when absent; files of an earlier run are replaced, other files are left alone.
    jobs : int
        Processes that draw figures.
    image_formats : tuple of str
        Further formats for each figure, of "png" and "tiff".

    Returns
    -------
    tuple of Path
        The files written, relative to `folder`.

    Raises
    ------
    StudyError
        If the folder cannot be written.
    """
    with _staged(folder) as staging:
        write_report(results, staging, jobs=jobs, image_formats=image_formats)
        (staging / RESULTS).write_text(to_text(results), encoding="utf-8")
        return _move_in(staging, folder)


def run_into(
    study: Study,
    folder: Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] = (),
    on_trial: Callable[[str], None] | None = None,
) -> StudyResults:
    """Analyse a study and write what was found into `folder`.

    The files are those of :func:`twinangle.run_study` and :func:`write_outputs`, one after the
    other, at less cost: each recording's figures are drawn by the process that analysed it, and
    its traces are dropped then, so that memory holds those of `jobs` recordings at most.

    Parameters
    ----------
    study : Study
        As returned by :func:`twinangle.read_study`.
    folder : Path
        Created when absent; files of an earlier run are replaced, other files are left alone.
    jobs : int
        Recordings analysed, and figures drawn, at the same time. The files are the same to the
        last byte whatever it is.
    image_formats : tuple of str
        Further formats for each figure, of "png" and "tiff".
    on_trial : callable, optional
        Called with a trial's name when it is done (for a progress bar).

    Returns
    -------
    StudyResults
        As of :func:`twinangle.run_study`, without the traces (`paired` is None).

    Raises
    ------
    StudyError
        If the folder cannot be written.
    """
    with _staged(folder) as staging, Workers(jobs) as workers:
        (staging / "figures").mkdir()
        font_families()  # written once, before other processes ask for it
        stems = stems_of(trial.identity for trial in study.trials)
        work = partial(_analyse_and_draw, study, stems, staging, image_formats)
        trials: list[TrialResult] = []
        drawn: list[Written] = []
        done = workers.in_order(work, study.trials)
        for trial, (several, figures) in zip(study.trials, done, strict=True):
            trials.extend(several)
            drawn.extend(figures)
            if on_trial is not None and not trial.exclude:
                on_trial(" ".join(trial.identity))
        results = pool_study(study, tuple(trials))
        text = workers.in_order(to_text, [results])
        write_parts(
            results,
            staging,
            workers,
            image_formats=image_formats,
            drawn=drawn,
            trace_parts=[_trace_part(staging, stem) for stem in stems.values()],
        )
        (staging / RESULTS).write_text(next(text), encoding="utf-8")
        _move_in(staging, folder)
    return results


def _analyse_and_draw(
    study: Study,
    stems: Mapping[Key, str],
    folder: Path,
    image_formats: tuple[str, ...],
    trial: Trial,
) -> tuple[tuple[TrialResult, ...], list[Written]]:
    """Analyse one recording, draw its figures, write its traces, and return the rest."""
    results = analyse_trial(study, trial)
    group = TrialGroup(results, stems[trial.identity])
    figures = folder / "figures"
    drawn = write_trial(group, study.joint, figures, image_formats) if group.worked else []
    write_trace_part(results, _trace_part(folder, group.stem), study.report.traces)
    return tuple(replace(result, paired=None) for result in results), drawn


def _trace_part(folder: Path, stem: str) -> Path:
    """Return where one recording's traces wait to be put together with the others'."""
    return folder / f"{stem}.traces"


@contextmanager
def _staged(folder: Path) -> Iterator[Path]:
    """Lend a temporary folder beside `folder`; what cannot be written is told as the user's."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise StudyError(f"--out {folder}: cannot be written ({error.strerror}).") from error
    try:
        yield staging
    except OSError as error:
        raise StudyError(f"--out {folder}: cannot be written ({error.strerror}).") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _move_in(staging: Path, folder: Path) -> tuple[Path, ...]:
    """Move every staged file into `folder`, `results.json` last, and drop what is outdated."""
    written = sorted(path.relative_to(staging) for path in staging.rglob("*") if path.is_file())
    written.sort(key=lambda path: path.name == RESULTS)
    folder.mkdir(parents=True, exist_ok=True)
    outdated = _listed(folder) - {path.as_posix() for path in written}
    _list(folder, [*outdated, *(path.as_posix() for path in written)])
    for path in written:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        os.replace(staging / path, folder / path)
    for name in outdated:
        (folder / name).unlink(missing_ok=True)
    _list(folder, [path.as_posix() for path in written])
    return tuple(written)


def _list(folder: Path, names: list[str]) -> None:
    """Write down which files of `folder` are a run's own, in one atomic step."""
    draft = folder / f"{MANIFEST}.draft"
    draft.write_text(json.dumps(sorted(names), indent=1) + "\n", encoding="utf-8")
    os.replace(draft, folder / MANIFEST)


def _listed(folder: Path) -> set[str]:
    """Return the files an earlier run wrote here; none when there was none."""
    try:
        names = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return set()
    inside = folder.resolve()
    return {
        name
        for name in names
        if isinstance(name, str) and (inside / name).resolve().is_relative_to(inside)
    }
