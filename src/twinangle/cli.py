"""Words on a terminal: parses, calls one function, prints. Computes nothing.

Heavy imports stay inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from twinangle.cautions import RECORDING, RESEARCH
from twinangle.platform_calls import Stopped, stop_on_signals
from twinangle.visible import make_visible

if TYPE_CHECKING:
    from rich.progress import Progress

    from twinangle.results import StudyResults
    from twinangle.study import Study

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Show how far a joint angle from inertial sensors is from a reference instrument worn at "
    f"the same time, indoors and outdoors, and write the figures. {RESEARCH}",
    epilog=RECORDING,
)

StudyPath = Annotated[Path, typer.Argument(help="The study file, study.toml.", show_default=False)]
Jobs = Annotated[int, typer.Option(min=1, help="Trials analysed at the same time.")]
OwnProcedures = Annotated[
    bool,
    typer.Option(
        "--allow-own-procedures",
        help="Run the Python functions that the study file names as module:function. "
        "Only for study files that you trust.",
    ),
]
Image = Annotated[
    list[str] | None,
    typer.Option(
        help="Write each figure beside SVG in this format too: pdf, png or tiff. May be repeated."
    ),
]


def _version(asked: bool) -> None:
    if asked:
        from twinangle import __version__

        _say(f"twinangle {__version__}")
        raise typer.Exit


@app.callback(epilog=RECORDING)
def _whole(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that belong to no command."""


@app.command(epilog=RECORDING, short_help="Analyse a study and write the report.")
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
        bool, typer.Option("--fresh", help="Make everything again, whatever earlier runs have kept.")
    ] = False,
    log: Annotated[
        Path | None,
        typer.Option(help="Append one line of JSON a recording to this file.", show_default=False),
    ] = None,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Print nothing but errors; the exit status is the same.")
    ] = False,
) -> None:
    """Run the main job: synchronise, cut cycles, compare, and write the report."""
    from twinangle.study import read_study

    formats = _image_formats(image)
    loaded = read_study(study, allow_own_procedures=allow_own_procedures)
    if recordings and scheduler is None:
        raise typer.BadParameter("says where the workers of a --scheduler find the recordings.")
    raise typer.Exit(
        _run(
            loaded,
            out,
            jobs=jobs,
            image_formats=formats,
            quiet=quiet,
            log=log,
            fresh=fresh,
            scheduler=scheduler,
            recordings=recordings,
        )
    )


@app.command(epilog=RECORDING, short_help="Read and validate a study; compute nothing.")
def check(study: StudyPath, jobs: Jobs = 1, allow_own_procedures: OwnProcedures = False) -> None:
    """Read and validate everything, compute nothing; what each file holds, and every fault."""
    from twinangle.analysis import check_study
    from twinangle.closing import check_lines
    from twinangle.study import read_study

    loaded = read_study(study, allow_own_procedures=allow_own_procedures)
    found = check_study(
        loaded,
        jobs=jobs,
        sensors=True,
        on_trial=lambda one: _say("\n".join(check_lines(one))),
    )
    for text in (*loaded.warnings, *found.warnings):
        _say(f"Warning: {text}")
    for fault in found.faults:
        _say(fault, file=sys.stderr)
    if found.faults:
        _say(f"\n{len(found.faults)} fault(s) found in {study}.", file=sys.stderr)
        raise typer.Exit(1)
    analysed = len(loaded.trials) - found.n_excluded
    if not any(trial.reference for trial in loaded.trials if not trial.exclude):
        _say("No recording has a reference: variability can be told, accuracy cannot.")
    _say(f"{study}: no fault found. {analysed} of {len(loaded.trials)} recordings to analyse.")


@app.command(short_help="Tell what a recording holds.")
def describe(
    file: Annotated[Path, typer.Argument(help="A recording.", show_default=False)],
) -> None:
    """Tell what a recording holds: channels, units, rate, duration, gaps."""
    from twinangle.formats import describe_file
    from twinangle.init import suggest_section

    description = describe_file(file)
    _say(str(description))
    section = suggest_section(description)
    if section is not None:
        _say(f"\nA section for the study file, to paste and complete:\n\n{section}")


@app.command(epilog=RECORDING, short_help="Draft a study from a folder of recordings.")
def init(
    folder: Annotated[Path, typer.Argument(help="A folder of recordings.", show_default=False)],
) -> None:
    """Look at a folder of recordings and propose a study file and a trials table."""
    from twinangle.init import propose_study, write_proposal

    proposal = propose_study(folder)
    written = write_proposal(folder, proposal)
    _say("Recognised:" if proposal.recognised else "Recognised: nothing.")
    for text in proposal.recognised:
        _say(f"  {text}")
    _say("Left open; fill these in before `twinangle check`:")
    for text in proposal.open_questions:
        _say(f"  {text}")
    for path in written:
        _say(f"Written: {path}")
    _say(f"\n{RECORDING}")


@app.command(short_help="Print the JSON schema of the study file.")
def schema() -> None:
    """Print the JSON schema of the study file, for editors that complete and check as one types.

    Keep it as study.schema.json beside study.toml, whose first line then is
    "#:schema ./study.schema.json"; init does both.
    """
    from twinangle.study.schema import schema_text

    _say(schema_text().rstrip("\n"))


@app.command(short_help="Write the study as a Motion-BIDS data set.")
def export(
    study: StudyPath,
    to: Annotated[Path, typer.Option(help="A new or empty folder.", show_default=False)],
    jobs: Jobs = 1,
    recode: Annotated[
        bool, typer.Option("--recode", help="Give participants new codes, P01, P02 and so on.")
    ] = False,
    allow_own_procedures: OwnProcedures = False,
) -> None:
    """Write the study as a Motion-BIDS data set that reads back to the same results."""
    from twinangle.export import export_study
    from twinangle.study import read_study

    loaded = read_study(study, allow_own_procedures=allow_own_procedures)
    _say("Analysing, for the angles on one clock …")
    done = export_study(loaded, to, jobs=jobs, recode=recode)
    for old, new in done.codes.items():
        _say(f"Code: {old} is {new} (this list stands nowhere in the data set)")
    for text in done.notes:
        _say(f"Note: {text}")
    _say(f"Written: {done.folder} ({done.n_recordings} recordings)")


@app.command(short_help="Recompute a run and tell what differs.")
def verify(
    folder: Annotated[Path, typer.Argument(help="Results of a run.", show_default=False)],
    study: Annotated[
        Path | None,
        typer.Option(
            help="The study file, if it is not where the run noted it.", show_default=False
        ),
    ] = None,
    jobs: Jobs = 1,
    everything: Annotated[bool, typer.Option("--all", help="List every change.")] = False,
    allow_own_procedures: OwnProcedures = False,
) -> None:
    """Compute a run's results again from its study and tell what is not the same.

    Exit status 0 if everything is the same, 1 if something is not.
    """
    from twinangle.verify import verify as verify_folder

    progress = _progress()
    task = progress.add_task("Trials", total=None)

    def begin(total: int) -> None:
        progress.update(task, total=total)
        progress.start()

    try:
        found = verify_folder(
            folder,
            study,
            jobs=jobs,
            allow_own_procedures=allow_own_procedures,
            on_begin=begin,
            on_trial=lambda label: progress.advance(task),
        )
    finally:
        if progress.live.is_started:
            progress.stop()
    for line in found.lines(everything=everything):
        _say(line)
    raise typer.Exit(0 if found.holds else 1)


@app.command(short_help="Tell two runs apart.")
def compare(
    before: Annotated[Path, typer.Argument(help="Results of a run.", show_default=False)],
    after: Annotated[Path, typer.Argument(help="Results of another.", show_default=False)],
    everything: Annotated[bool, typer.Option("--all", help="List every difference.")] = False,
) -> None:
    """Tell two runs apart: version, input files, settings, numbers beyond rounding, texts.

    Exit status 0 if they are alike, 1 if they differ.
    """
    from twinangle.verify import compare as compare_folders
    from twinangle.verify import told

    found = compare_folders(before, after)
    for line in told(found, everything=everything):
        _say(line)
    if not found:
        _say("The two runs are alike.")
    raise typer.Exit(1 if found else 0)


@app.command(epilog=RECORDING, short_help="Look at recordings in the browser and decide.")
def review(
    study: StudyPath,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port of the page; 0 for a free one.")
    ] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page.")] = True,
    who: Annotated[str, typer.Option(help="Code of the person who decides; never a name.")] = "R1",
    blind: Annotated[
        bool, typer.Option("--blind", help="Hide how the instruments differ while deciding.")
    ] = False,
    allow_own_procedures: OwnProcedures = False,
) -> None:
    """Look at every recording in the browser, decide, and give the reasons.

    The page is for this machine alone, at an address with a token; decisions go to decisions.jsonl
    beside the study file, which run, report and verify honour.
    """
    from twinangle.analysis import compile_ahead
    from twinangle.review.server import serve
    from twinangle.study import read_bare_study

    loaded = read_bare_study(study, allow_own_procedures=allow_own_procedures)
    compile_ahead(loaded, announce=_say)
    serve(loaded, port=port, browser=browser, who=who, blind=blind, tell=_say)


@app.command(epilog=RECORDING, short_help="Say how many participants and cycles suffice.")
def plan(
    sd_between: Annotated[
        float | None,
        typer.Option(min=0, help="Expected SD of the differences between participants, °."),
    ] = None,
    sd_within: Annotated[
        float, typer.Option(min=0, help="Expected SD of the differences within one participant, °.")
    ] = 0.0,
    cycles: Annotated[int, typer.Option(min=1, help="Cycles a participant.")] = 1,
    precision: Annotated[
        float | None, typer.Option(help="Aim: half the width of a limit's interval at most, °.")
    ] = None,
    margin: Annotated[
        float | None, typer.Option(help="Aim: limits of agreement shown inside this margin, °.")
    ] = None,
    bias: Annotated[float, typer.Option(help="Expected bias, °.")] = 0.0,
    sd_ratio: Annotated[
        float | None,
        typer.Option(
            help="Aim: a difference between two conditions shown: true ratio of per-cycle SDs."
        ),
    ] = None,
    sd_log_ratio: Annotated[
        float, typer.Option(help="SD over participants of the logarithm of the true ratio.")
    ] = 0.2,
    other_cycles: Annotated[
        int | None,
        typer.Option(min=1, help="Cycles under the other condition, if not as many as --cycles."),
    ] = None,
    sem: Annotated[
        float | None,
        typer.Option(min=0, help="Expected standard error of measurement of test and retest, °."),
    ] = None,
    sem_precision: Annotated[
        float | None,
        typer.Option(help="Aim: half the width of its interval at most, °."),
    ] = None,
    sessions: Annotated[
        int | None,
        typer.Option(min=2, help="Sessions a participant; 2 to 5 in turn if left out."),
    ] = None,
    power: Annotated[float, typer.Option(help="Wanted probability of reaching an aim.")] = 0.8,
    confidence: Annotated[float, typer.Option(help="Of the intervals.")] = 0.95,
) -> None:
    """Tell how many participants and cycles a study needs, by simulating its own analysis.

    Give at least one aim: --precision or --margin (with --sd-between), --sd-ratio, or
    --sem-precision (with --sem).
    """
    from twinangle.plan import Aims, planned_sizes

    aims = Aims(
        sd_between=sd_between,
        sd_within=sd_within,
        cycles=cycles,
        precision=precision,
        margin=margin,
        bias=bias,
        sd_ratio=sd_ratio,
        sd_log_ratio=sd_log_ratio,
        other_cycles=other_cycles,
        sem=sem,
        sem_precision=sem_precision,
        sessions=sessions,
        power=power,
        confidence=confidence,
    )
    for line in planned_sizes(aims):
        print(line)


@app.command(epilog=RECORDING, short_help="Print a session sheet to record by.")
def protocol(
    study: StudyPath,
    out: Annotated[
        Path | None,
        typer.Option(help="File for the sheet: .pdf for paper, .md or .txt.", show_default=False),
    ] = None,
    participant: Annotated[
        str | None, typer.Option(help="Sheet of this participant's code.", show_default=False)
    ] = None,
    session: Annotated[
        str | None, typer.Option(help="Sheet of this session.", show_default=False)
    ] = None,
) -> None:
    """Print how a session is recorded, from the study's own settings; no recording is needed.

    Without --out the sheet is printed here, as Markdown.
    """
    from twinangle.protocol import as_markdown, session_sheet, write_sheet

    sheet = session_sheet(study, participant=participant, session=session)
    if out is None:
        _say(as_markdown(sheet))
    else:
        _say(f"Written: {write_sheet(sheet, out)}")


@app.command(short_help="Make the report again, without analysing.")
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

    images = None if image is None else _image_formats(image)
    try:
        changed(Artwork(), widths=width, formats=figure_format, dpi=dpi)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from None
    results = write_pages_again(
        folder,
        jobs=jobs,
        image_formats=images,
        widths_mm=width,
        formats=figure_format,
        dpi=dpi,
        tell=_say,
    )
    print_answer(results, folder, documents=DOCUMENTS)


@app.command(short_help="Write the invented demo study and run it.")
def demo(
    folder: Annotated[Path, typer.Argument(help="Folder for the invented study.")] = Path(
        "twinangle-demo"
    ),
    jobs: Jobs = 2,
) -> None:
    """Write the invented demo study as ordinary files, then run it."""
    from twinangle.simulate import write_demo_study
    from twinangle.study import read_study

    _say(f"Writing an invented study (no person was recorded) to {folder / 'study'} …")
    path = write_demo_study(folder / "study")
    raise typer.Exit(_run(read_study(path), folder / "results", jobs=jobs, image_formats=("png",)))


def _image_formats(names: list[str] | None) -> tuple[str, ...]:
    """Return the formats asked for, or stop with a usage error."""
    from twinangle.report.document import IMAGE_FORMATS

    for name in names or ():
        if name not in IMAGE_FORMATS:
            raise typer.BadParameter(f"{name!r} is not one of {', '.join(IMAGE_FORMATS)}.")
    return tuple(dict.fromkeys(names or ()))


@app.command(short_help="Show what earlier runs have kept, or clear it.")
def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove all of it.")] = False,
) -> None:
    """Show what runs have kept, so that what has not changed is not made again."""
    from twinangle.kept import Store, kept_folder
    from twinangle.kept.shown import kept_lines

    place = kept_folder()
    if place is None:
        _say("Nothing is kept: TWINANGLE_KEPT is empty.")
        return
    if clear:
        n, size = Store(place).clear()
        _say(f"{place}: {n} removed, {size / 2**20:.1f} MB.")
        return
    for line in kept_lines(Store(place)):
        _say(line)


def _run(
    study: Study, out: Path, *, quiet: bool = False, log: Path | None = None, **how: Any
) -> int:
    """Run, write and tell; return the exit status."""
    from twinangle.run_log import run_log

    with run_log(log) as write:
        results = _analyse(study, out, quiet=quiet, on_record=write, **how)
    if not quiet:
        _tell(results, out)
    return 1 if any(trial.status == "failed" for trial in results.trials) else 0


def _analyse(study: Study, out: Path, *, quiet: bool, **how: Any) -> StudyResults:
    """Run the study behind a progress bar, as :func:`run_into` takes it, and write."""
    from twinangle.kept import Store, kept_folder
    from twinangle.run import run_into

    place = kept_folder()
    how["kept"] = None if place is None else Store(place)
    if quiet:
        return run_into(study, out, tell=lambda _: None, **how)

    progress = _progress()
    total = sum(not trial.exclude for trial in study.trials)
    task = progress.add_task("Trials", total=total)

    def advance(label: str) -> None:
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
            on_fault=lambda fault: tell(f"Found before the analysis: {fault}"),
            on_trial=advance,
            tell=tell,
            **how,
        )
    finally:
        if progress.live.is_started:
            progress.stop()


def _progress() -> Progress:
    """Return a bar on standard error that counts trials."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        # A notebook asks every command for colours; a bar that redraws itself would fill its cell.
        console=Console(stderr=True, force_terminal=sys.stderr.isatty()),
    )


def _tell(results: StudyResults, out: Path) -> None:
    """Print the closing table, what to look at, and where it is.

    The report is written by now: whatever goes wrong in telling of it is no fault of the run.
    """
    from twinangle.closing import print_closing

    try:
        print_closing(results, out)
    except BrokenPipeError:  # a reader that has gone, such as `head`
        raise
    except Exception as error:
        _say(f"Report: {out / 'report.pdf'}")
        _say(f"(Its summary could not be shown here: {type(error).__name__}: {error})")


def _say(text: str, file: TextIO | None = None) -> None:
    """Print a message; characters that would steer the terminal are shown as their codes."""
    print(make_visible(text, keep="\n\t"), file=file or sys.stdout, flush=True)


def main() -> None:
    """Run the command line and leave the process with its status."""
    stop_on_signals()
    _keep_to_one_thread()
    status = _status()
    try:
        sys.stdout.flush()
    except OSError:  # a reader that has gone, such as `head`; there is nobody left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(status)


def _keep_to_one_thread() -> None:
    """Have the linear algebra library use one thread, unless the user has set a number.

    The matrices here are small: its threads wait for work at full speed, which takes a third of
    the processors from the other recordings. Nor do its sums then depend on how many processors
    there are. It reads the number when it is loaded, which no command has done yet.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _status() -> int:
    """Run the command line; a fault of the study becomes one message and exit status 1."""
    from twinangle.errors import TwinangleError

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app()
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    except TwinangleError as error:
        _say(f"twinangle: {error}", file=sys.stderr)
        return 1
    except Stopped as stopped:
        said = ["twinangle: stopped", *getattr(stopped, "__notes__", [])]
        _say(f"{'; '.join(said)}.", file=sys.stderr)
        return stopped.status
    return 0
