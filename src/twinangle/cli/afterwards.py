"""What a study and its results serve for: decided on by eye, verified, compared, given away."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from twinangle.cli.arguments import Jobs, OwnProcedures, StudyPath
from twinangle.cli.terminal import progress_bar, say


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
    if who.split() != [who]:
        raise typer.BadParameter(
            f"{who!r} is no code; give one without spaces, such as R1, and never a name.",
            param_hint="'--who'",
        )
    from twinangle.analysis import compile_ahead
    from twinangle.review.server import serve
    from twinangle.study import read_bare_study

    loaded = read_bare_study(study, allow_own_procedures=allow_own_procedures)
    compile_ahead(loaded, announce=say)
    serve(loaded, port=port, browser=browser, who=who, blind=blind, tell=say)


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

    progress = progress_bar()
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
        say(line)
    raise typer.Exit(0 if found.holds else 1)


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
        say(line)
    if not found:
        say("The two runs are alike.")
    raise typer.Exit(1 if found else 0)


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
    say("Analysing, for the angles on one clock …")
    done = export_study(loaded, to, jobs=jobs, recode=recode)
    for old, new in done.codes.items():
        say(f"Code: {old} is {new} (this list stands nowhere in the data set)")
    for text in done.notes:
        say(f"Note: {text}")
    say(f"Written: {done.folder} ({done.n_recordings} recordings)")
