"""Before a run: what recordings hold, a study drafted and checked, its size, its session sheet."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from twinangle.cautions import RECORDING_SHORT
from twinangle.cli.arguments import Jobs, OwnProcedures, StudyPath
from twinangle.cli.terminal import say


def describe(
    file: Annotated[Path, typer.Argument(help="A recording.", show_default=False)],
) -> None:
    """Tell what a recording holds: channels, units, rate, duration, gaps."""
    from twinangle.formats import describe_file
    from twinangle.init import as_wearable, suggest_section

    description = describe_file(file)
    say(str(description))
    section = suggest_section(description)
    if section is None:
        return
    say(f"\nA section for the study file, to paste and complete:\n\n{section}")
    worn = as_wearable(section)
    if worn is not None:
        say(f"\nIf it is the wearable under test that computes this angle, in its place:\n\n{worn}")


def init(
    folder: Annotated[Path, typer.Argument(help="A folder of recordings.", show_default=False)],
) -> None:
    """Look at a folder of recordings and propose a study file and a trials table."""
    from twinangle.init import propose_study, write_proposal

    proposal = propose_study(folder)
    written = write_proposal(folder, proposal)
    say("Recognised:" if proposal.recognised else "Recognised: nothing.")
    for text in proposal.recognised:
        say(f"  {text}")
    for text in proposal.ignored:
        say(f"Left aside: {text}")
    if proposal.open_questions:
        say("Left open; fill these in before `twinangle check`:")
    for text in proposal.open_questions:
        say(f"  {text}")
    for path in written:
        say(f"Written: {path}")
    say(f"\n{RECORDING_SHORT}")


def schema() -> None:
    """Print the JSON schema of the study file, for editors that complete and check as one types.

    Keep it as study.schema.json beside study.toml, whose first line then is
    "#:schema ./study.schema.json"; init does both.
    """
    from twinangle.study.schema import schema_text

    say(schema_text().rstrip("\n"))


def check(
    study: StudyPath,
    jobs: Jobs = 1,
    allow_own_procedures: OwnProcedures = False,
    every_row: Annotated[
        bool,
        typer.Option("--every-row", help="Print each message with its row, however many say it."),
    ] = False,
) -> None:
    """Read and validate everything and find each clock; what each file holds, and every fault."""
    from twinangle.analysis import check_study
    from twinangle.closing_check import check_lines, gathered_lines
    from twinangle.naming import rows_gathered
    from twinangle.study import AngleWearable, read_study
    from twinangle.wording import count

    loaded = read_study(study, allow_own_procedures=allow_own_procedures)
    found = check_study(
        loaded,
        jobs=jobs,
        sensors=True,
        on_trial=lambda one: say("\n".join(check_lines(one, every_row=every_row))),
    )
    for line in () if every_row else gathered_lines(found.trials):
        say(line)
    for text in (*loaded.warnings, *found.warnings):
        say(f"Warning: {text}")
    faults = found.faults if every_row else rows_gathered(found.faults, numbers_apart=False)
    for fault in faults:
        say(fault, file=sys.stderr)
    if found.faults:
        hint = "" if len(faults) == len(found.faults) else " `--every-row` prints each."
        say(f"\n{count(len(found.faults), 'fault')} found in {study}.{hint}", file=sys.stderr)
        raise typer.Exit(1)
    analysed = len(loaded.trials) - found.n_excluded
    if not any(trial.reference for trial in loaded.trials if not trial.exclude):
        say("No recording has a reference: variability can be told, accuracy cannot.")
    by_walk = sum(not each.exclude and each.functional is None for each in loaded.trials)
    if by_walk and not isinstance(loaded.wearable, AngleWearable):
        say(
            f"{by_walk} of {analysed} recordings give no functional movement: the flexion axis is "
            "taken from what is studied itself, which is less accurate."
        )
    say(f"{study}: no fault found. {analysed} of {len(loaded.trials)} recordings to analyse.")


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
        say(as_markdown(sheet))
    else:
        say(f"Written: {write_sheet(sheet, out)}")
