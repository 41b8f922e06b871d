"""A run and its report: of a study, of the invented demo, again from finished results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twinangle.cli.arguments import Image, Jobs, OwnProcedures, StudyPath, image_formats
from twinangle.cli.terminal import LongRecordings, progress_bar, say
from twinangle.visible import make_visible

if TYPE_CHECKING:
    from twinangle.results import StudyResults
    from twinangle.study import Study


def run(
    study: StudyPath,
    out: Annotated[Path, typer.Option(help="Folder for the results.", show_default=False)],
    jobs: Jobs = 1,
    image: Image = None,
    allow_own_procedures: OwnProcedures = False,
    scheduler: Annotated[
        str | None,
        typer.Option(
            help="Address of a dask scheduler, tcp://HOST:PORT, whose workers analyse the "
            "recordings."
        ),
    ] = None,
    recordings: Annotated[
        str,
        typer.Option(
            help="Where those workers find the study's folder, a path or an fsspec address; "
            "without it, where it is here."
        ),
    ] = "",
    fresh: Annotated[
        bool,
        typer.Option("--fresh", help="Make everything again, whatever earlier runs have kept."),
    ] = False,
    log: Annotated[
        Path | None,
        typer.Option(help="Append one line of JSON a recording to this file.", show_default=False),
    ] = None,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Print nothing but errors; the exit status is the same.")
    ] = False,
    every_row: Annotated[
        bool,
        typer.Option("--every-row", help="Print a row a recording, however many there are."),
    ] = False,
) -> None:
    """Run the main job: synchronise, cut cycles, compare, and write the report."""
    from twinangle.study import read_study

    formats = image_formats(image)
    loaded = read_study(study, allow_own_procedures=allow_own_procedures)
    if recordings and scheduler is None:
        raise typer.BadParameter(
            "says where the workers of a --scheduler find the recordings; none is given.",
            param_hint="'--recordings'",
        )
    raise typer.Exit(
        _run(
            loaded,
            out,
            jobs=jobs,
            image_formats=formats,
            quiet=quiet,
            every_row=every_row,
            log=log,
            fresh=fresh,
            scheduler=scheduler,
            recordings=recordings,
        )
    )


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the invented study.")] = Path(
        "twinangle-demo"
    ),
    jobs: Jobs = 2,
) -> None:
    """Write the invented demo study as ordinary files, then run it."""
    from twinangle.simulate import write_demo_study
    from twinangle.study import read_study

    say(f"Writing an invented study (no person was recorded) to {folder / 'study'} …")
    path = write_demo_study(folder / "study")
    raise typer.Exit(_run(read_study(path), folder / "results", jobs=jobs, image_formats=("png",)))


def report(
    folder: Annotated[Path, typer.Argument(help="Folder of a run's results.", show_default=False)],
    jobs: Annotated[int, typer.Option(min=1, help="Figures drawn at the same time.")] = 1,
    image: Image = None,
    width: Annotated[
        list[float] | None,
        typer.Option(help="Width in mm of the figures in paper/figures. May be repeated."),
    ] = None,
    figure_format: Annotated[
        list[str] | None,
        typer.Option(
            "--format", help="Format of those figures: pdf, svg, png or tiff. May be repeated."
        ),
    ] = None,
    dpi: Annotated[int | None, typer.Option(help="Dots an inch of png and tiff there.")] = None,
) -> None:
    """Make report, supplement, figures and paper kit again from finished results.

    Nothing is analysed.
    """
    from twinangle.artwork import Artwork, changed
    from twinangle.closing import print_answer
    from twinangle.documents import DOCUMENTS
    from twinangle.run import write_pages_again

    images = None if image is None else image_formats(image)
    try:
        changed(Artwork(), widths=width, formats=figure_format, dpi=dpi)
    except ValueError as error:
        raise typer.BadParameter(_of_the_terminal(str(error))) from None
    results = write_pages_again(
        folder,
        jobs=jobs,
        image_formats=images,
        widths_mm=width,
        formats=figure_format,
        dpi=dpi,
        tell=say,
    )
    print_answer(results, folder, documents=DOCUMENTS)


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove all of it.")] = False,
    every: Annotated[
        bool,
        typer.Option("--all", help="List every recording, and why one is kept more than once."),
    ] = False,
) -> None:
    """Show what runs have kept, a line a study, so that what has not changed is not made again."""
    from twinangle.errors import StudyError
    from twinangle.kept import Store, kept_folder
    from twinangle.kept.store_lines import kept_lines

    place = kept_folder()
    if place is None:
        say("Nothing is kept: TWINANGLE_KEPT is empty.")
        return
    if place.exists() and not place.is_dir():
        raise StudyError(f"{place}: is a file, where TWINANGLE_KEPT must name a folder.")
    if clear:
        n, size = Store(place).clear()
        say(f"{place}: {n} removed, {size / 2**20:.1f} MB.")
        return
    for line in kept_lines(Store(place), every=every):
        say(line)


def _of_the_terminal(text: str) -> str:
    """Return a fault of artwork with the option's name for the study file's key."""
    named = {"`figure_width_mm`": "--width", "`figure_formats`": "--format", "`dpi`": "--dpi"}
    for key, option in named.items():
        text = text.replace(key, option)
    return text


def _run(
    study: Study,
    out: Path,
    *,
    quiet: bool = False,
    every_row: bool = False,
    log: Path | None = None,
    **how: Any,
) -> int:
    """Run, write and tell; return the exit status."""
    from twinangle.run_log import Tally, run_log

    with run_log(log) as write:
        tally = Tally(write)
        results = _analyse(study, out, quiet=quiet, on_record=tally, **how)
    if not quiet:
        if tally.told:
            say(tally.told)
        _tell(results, out, every_row=every_row)
    return 1 if any(trial.status == "failed" for trial in results.trials) else 0


def _analyse(study: Study, out: Path, *, quiet: bool, **how: Any) -> StudyResults:
    """Run the study behind a progress bar, as :func:`run_into` takes it, and write."""
    from twinangle.kept import Store, kept_folder
    from twinangle.naming import rows_gathered
    from twinangle.run import run_into

    place = kept_folder()
    how["kept"] = None if place is None else Store(place)
    if quiet:
        return run_into(study, out, tell=lambda _: None, **how)

    progress = progress_bar()
    total = sum(not trial.exclude for trial in study.trials)
    task = progress.add_task("Trials", total=total)

    far = LongRecordings(progress)

    faults: list[str] = []

    def tell_faults() -> None:
        for fault in rows_gathered(faults):
            tell(f"Found before the analysis: {fault}")
        faults.clear()

    def advance(label: str) -> None:
        tell_faults()
        far.done(label)
        progress.advance(task)
        if progress.tasks[task].finished:
            progress.update(task, description="Writing the report")

    def tell(text: str) -> None:
        progress.console.print(make_visible(text), markup=False, highlight=False, soft_wrap=True)

    try:
        return run_into(
            study,
            out,
            on_begin=progress.start,
            on_fault=faults.append,
            on_trial=advance,
            on_reached=far.reached,
            tell=tell,
            **how,
        )
    finally:
        tell_faults()
        if progress.live.is_started:
            progress.stop()


def _tell(results: StudyResults, out: Path, *, every_row: bool) -> None:
    """Print the closing table, what to look at, and where it is.

    The report is written by now: whatever goes wrong in telling of it is no fault of the run.
    """
    from twinangle.closing import print_closing

    try:
        print_closing(results, out, every_row=every_row)
    except BrokenPipeError:  # a reader that has gone, such as `head`
        raise
    except Exception as error:
        say(f"Report: {out / 'report.pdf'}")
        say(f"(Its summary could not be shown here: {type(error).__name__}: {error})")
