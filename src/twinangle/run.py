"""The whole line in its order: analyse, pool, write. Terminal, Python and benchmarks call this."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from functools import partial
from importlib import import_module
from pathlib import Path

from twinangle import analysis
from twinangle.analysis.study import input_files, pool_study
from twinangle.artwork import artwork_of, changed
from twinangle.cluster import Cluster
from twinangle.documents import DOCUMENTS, SUPPLEMENT
from twinangle.errors import StudyError
from twinangle.kept import Steps, Store
from twinangle.output_folder import check_output_folder, staged
from twinangle.output_folder.journal import RESULTS, listed, settle
from twinangle.output_folder.staging import Tell, warn
from twinangle.parallel import Workers
from twinangle.plotting.looks import load_drawing
from twinangle.reached import Reached, watched
from twinangle.recordings_of_run import RecordingDone, Recordings
from twinangle.report import write_report
from twinangle.report.document import (
    IMAGE_FORMATS,
    check_image_formats,
    write_pages,
    write_parts,
)
from twinangle.report.figure_files import Written
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import key_of
from twinangle.results.read_back import read_results
from twinangle.results.serialise import joined, text_of_others, text_of_trial, to_text
from twinangle.study import Study
from twinangle.visible import visible_texts
from twinangle.wording import unique_names

# Where the study lies, seen from the results: the one file in which two like runs may differ.
STUDY_PLACE = ".twinangle-study.txt"


def write_outputs(
    results: StudyResults,
    folder: str | Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] = (),
) -> tuple[Path, ...]:
    """Write report, figures, tables, methods text and `results.json` into `folder`.

    Parameters
    ----------
    results : StudyResults
        What :func:`twinangle.run_study` returned.
    folder : Path
        Created when absent; files of an earlier run are replaced, other files are left alone.
    jobs : int
        Processes that draw figures.
    image_formats : tuple of str
        Further formats for each figure, of "pdf", "png" and "tiff".

    Returns
    -------
    tuple of Path
        The files written, relative to `folder`.

    Raises
    ------
    StudyError
        If the folder cannot be written, or holds files of others under the names of ours.
    """
    folder = Path(folder)
    with staged(folder) as staging:
        write_report(visible_texts(results), staging, jobs=jobs, image_formats=image_formats)
        (staging / RESULTS).write_text(to_text(results), encoding="utf-8", newline="\n")
        return tuple(
            sorted(path.relative_to(staging) for path in staging.rglob("*") if path.is_file())
        )


def run_into(
    study: Study,
    folder: str | Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] = (),
    on_begin: Callable[[], None] | None = None,
    on_fault: Callable[[str], None] | None = None,
    on_trial: Callable[[str], None] | None = None,
    scheduler: str | None = None,
    recordings: str = "",
    kept: Store | None = None,
    fresh: bool = False,
    on_record: Callable[[RecordingDone], None] | None = None,
    on_reached: Callable[[Reached], None] | None = None,
    tell: Tell = warn,
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
        Further formats for each figure, of "pdf", "png" and "tiff".
    on_begin : callable, optional
        Called when the folder has been found fit and the work begins.
    on_fault : callable, optional
        Called, before anything is computed, with each fault that `check` finds too; the recording
        it concerns will have failed, the others are analysed. Files are read once more for it, so
        that it is left out without this.
    on_trial : callable, optional
        Called with a trial's name when it is done (for a progress bar).
    scheduler : str, optional
        Address of a dask scheduler whose workers analyse the recordings, in place of processes
        here; see :class:`twinangle.cluster.Cluster`.
    recordings : str
        Where those workers find the study's folder: a folder, or an address that `fsspec` opens;
        empty for the folder it has here.
    kept : Store, optional
        Where analyses of recordings are kept from one run to the next: what has not changed is
        taken from there, to the same bytes, and what is analysed is put there.
    fresh : bool
        Whether everything is analysed, whatever is kept.
    on_record : callable, optional
        Called with what became of each recording (for a log).
    on_reached : callable, optional
        Called every second, in a thread of its own, with how far each recording has come that is
        read in stretches here (for a progress bar).
    tell : callable, optional
        Called with a line on compiling that takes its time, and on what an earlier run that was
        stopped had left in the folder.

    Returns
    -------
    StudyResults
        As of :func:`twinangle.run_study`, without the traces (`paired` is None).

    Raises
    ------
    StudyError
        If the folder cannot be written, which is tried out before anything is computed, or holds
        the study, its recordings, or files of others under the names of ours; or if no scheduler
        answers.
    """
    folder = Path(folder)
    check_image_formats(image_formats)
    check_output_folder(folder, study_folder=study.folder, inputs=input_files(study))
    with (
        _cluster(scheduler, recordings, tell) as cluster,
        staged(folder, tell=tell) as staging,
    ):
        if on_begin is not None:
            on_begin()
        with Workers(jobs) as workers:
            steps = Steps(kept, staging, study=study.title, fresh=fresh, tell=tell)
            line = Recordings(study, staging, image_formats, workers, cluster, steps)
            new = len(line.known) < len(study.trials)
            here = study if new and cluster is None else None
            load = partial(_load, here, tell, drawing=not line.drawn_apart)
            if on_fault is not None and new:  # files are read beside the loading
                check = analysis.check_study(
                    study, workers=workers, beside=line.known, meanwhile=load
                )
                for fault in check.faults:
                    on_fault(fault)
            load()
            workers.renew()

            def done(one: RecordingDone) -> None:
                if on_record is not None:
                    on_record(one)
                if on_trial is not None and one.results[0].status != "excluded":
                    on_trial(" ".join(one.trial.identity))

            with watched(staging, on_reached if study.daily_life.stretch_min else None):
                results = _write_all(line, done, tell)
        if kept is not None:
            kept.trim()
    _note_study(study, folder)
    return results


def _load(study: Study | None, tell: Tell, *, drawing: bool) -> None:
    """Load, before processes are forked, what these analyse recordings with, and draw, if any."""
    if study is None:
        return
    analysis.load_ahead()
    analysis.compile_ahead(study, announce=tell)
    if drawing and SUPPLEMENT in study.report.documents:
        load_drawing()


def _load_writing() -> None:
    """Load, while recordings are analysed, what their figures over all and tables are made with."""
    load_drawing()
    for name in ("pandas", "pyarrow.parquet"):
        import_module(name)


def _cluster(
    scheduler: str | None, recordings: str, tell: Tell
) -> AbstractContextManager[Cluster | None]:
    return (
        nullcontext() if scheduler is None else Cluster(scheduler, recordings=recordings, tell=tell)
    )


def _note_study(study: Study, folder: Path) -> None:
    """Note where the study lies, for whoever recomputes; nothing where no way leads there."""
    if study.in_memory:
        return
    try:
        place = os.path.relpath(study.path.resolve(), folder.resolve())
    except ValueError:  # on another drive
        return
    text = Path(place).as_posix() + "\n"
    (folder / STUDY_PLACE).write_text(text, encoding="utf-8", newline="\n")


def write_pages_again(
    folder: str | Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] | None = None,
    widths_mm: Sequence[float] | None = None,
    formats: Sequence[str] | None = None,
    dpi: int | None = None,
    tell: Tell = warn,
) -> StudyResults:
    """Make report, supplement, figures, methods text and paper kit again from a finished run.

    Nothing is analysed: numbers and tables stay as they are, to the byte. All documents are made,
    those too that the study file did not ask for.

    Parameters
    ----------
    folder : Path
        The output folder of a run.
    jobs : int
        Figures drawn at the same time.
    image_formats : tuple of str, optional
        Further formats for each figure, of "pdf", "png" and "tiff"; None for those that are there.
    widths_mm, formats, dpi : optional
        Of the paper kit's figures, see :class:`twinangle.artwork.Artwork`; None for what the
        study file said.
    tell : callable, optional
        Called with a line on what an earlier run that was stopped had left in the folder.

    Returns
    -------
    StudyResults
        What was read.

    Raises
    ------
    StudyError
        If the folder holds no results, cannot be written, or lacks the cycles or traces that the
        figures show.
    """
    folder = Path(folder)
    check_image_formats(image_formats or ())
    for text in settle(folder):
        tell(text)
    results = read_results(folder)
    require_curves(results, folder)
    artwork = changed(artwork_of(results.parameters), widths=widths_mm, formats=formats, dpi=dpi)
    images = formats_there(folder) if image_formats is None else image_formats
    with staged(folder, tell=tell) as staging:
        _keep_numbers(folder, staging)
        with Workers(jobs) as workers:
            write_pages(
                visible_texts(results),
                staging,
                workers,
                image_formats=images,
                artwork=artwork,
                documents=DOCUMENTS,
            )
    return results


def require_curves(results: StudyResults, folder: Path) -> None:
    """Refuse results of which a figure cannot be drawn, as cycles or traces were not kept."""
    for trial in results.trials:
        if trial.status != "ok":
            continue
        for kept, what, file in (
            (trial.cycles, "cycles", "tables/cycles.parquet"),
            (trial.paired, "traces", "tables/traces.parquet"),
        ):
            if kept is None:
                raise StudyError(
                    f"{folder}: the {what} of {trial.label} ({trial.procedure}) are not in {file}, "
                    "so that its figure cannot be drawn again. Run the study again"
                    + (" with `traces = true` under [report]." if what == "traces" else ".")
                )


def formats_there(folder: Path) -> tuple[str, ...]:
    """Return the formats beside SVG in which the figures of a run lie there."""
    found = {path.suffix[1:] for path in (folder / "figures").glob("*")}
    return tuple(name for name in IMAGE_FORMATS if name in found)


def _keep_numbers(folder: Path, staging: Path) -> None:
    """Put the numbers and tables of a run beside the new pages, as they are."""
    ours = listed(folder) or [
        path.relative_to(folder).as_posix() for path in (folder / "tables").rglob("*")
    ]
    for name in {RESULTS, *(name for name in ours if name.startswith("tables/"))}:
        if (folder / name).is_file():
            (staging / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(folder / name, staging / name)


def _write_all(
    line: Recordings, on_done: Callable[[RecordingDone], None], tell: Tell
) -> StudyResults:
    """Analyse and write every part of a study's results into an empty folder."""
    study, staging, workers, steps = line.study, line.folder, line.workers, line.steps
    trials: list[TrialResult] = []
    drawn: list[Written] = []
    for one in line.in_order(tell, meanwhile=_load_writing):
        trials.extend(one.results)
        drawn.extend(one.drawn)
        on_done(one)
    results = pool_study(study, tuple(trials), steps)
    shown = visible_texts(results)
    workers.renew(results, shown, *results.trials)
    text_of_trials, others = _text_of(results, workers, steps)
    write_parts(
        shown,
        staging,
        workers,
        image_formats=line.image_formats,
        drawn=drawn,
        trace_parts=line.trace_parts,
        steps=steps,
    )
    text = joined(text_of_trials, next(others))
    (staging / RESULTS).write_text(text, encoding="utf-8", newline="\n")
    return results


def _text_of(
    results: StudyResults, workers: Workers, steps: Steps
) -> tuple[Iterator[str], Iterator[str]]:
    """Begin the text of the results: what is made of each trial, and the one of all others."""
    names = unique_names(str((*key_of(trial), trial.procedure)) for trial in results.trials)
    of_trials = steps.in_order(
        f"{RESULTS} of a trial",
        text_of_trial,
        dict(zip(names, results.trials, strict=True)),
        workers,
        takes=lambda trial: (trial,),
        tasks=2 * workers.jobs,
    )
    of_others = steps.in_order(
        RESULTS, _others, {"others": None}, workers, takes=lambda _: (), of=results
    )
    return of_trials, of_others


def _others(results: StudyResults, _: None) -> str:
    return text_of_others(results)
