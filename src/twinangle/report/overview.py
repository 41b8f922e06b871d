"""The one page that answers the question: every number at a glance."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, figure, table, text
from twinangle.report.curves import curves_table
from twinangle.report.limits import limits_table
from twinangle.report.variability import variability_table
from twinangle.results import StudyResults
from twinangle.results.grouping import conditions, procedures, trial_groups
from twinangle.wording import NOTHING, count, span


def overview_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the one page that answers the question."""
    if not any(trial.status in ("ok", "pooled") for trial in results.trials):
        return [
            text(
                "No trial could be analysed. The reasons are listed under “Exclusions, failures "
                "and warnings”; no number is given."
            )
        ]
    blocks = [text(_rests_on(results)), *figure("overview", figures)]
    blocks.append(
        table(
            ("Condition", "Procedure", "Trials", "Offset", "RMS demeaned", "SD wearable",
             "SD reference"),
            _summary_rows(results),
            words=2,
            caption="Smallest to largest value over trials, in degrees: offset of the mean curves "
            "(wearable − reference), RMS of the demeaned curves, SD over cycles.",
        )
    )  # fmt: skip
    blocks += [*curves_table(results), *variability_table(results)]
    if results.limits:
        blocks.append(limits_table(results))
    elif not results.notes:
        blocks.append(text("No recording has a reference: no agreement is given."))
    blocks += [text(note) for note in results.notes]
    return blocks


def _rests_on(results: StudyResults) -> str:
    """Say what the numbers rest on."""
    mains = [group.main for group in trial_groups(results)]
    worked = [trial for trial in mains if trial.status in ("ok", "pooled")]
    paired = [t for t in worked if t.cycles is not None and t.cycles.reference_deg is not None]
    kept = sum(int(trial.cycles.kept.sum()) for trial in worked if trial.cycles is not None)
    people = len({trial.participant for trial in worked})
    with_reference = len({trial.participant for trial in paired})
    said = (
        f"These numbers rest on {count(people, 'participant')}, "
        f"{count(len(worked), 'recording')} and {count(kept, 'cycle')}; "
        f"{count(len(paired), 'recording')} of {count(with_reference, 'participant')} "
        f"{'has' if len(paired) == 1 else 'have'} a reference."
    )
    short = sum(trial.status == "pooled" for trial in worked)
    if short:
        said += (
            f" {count(short, 'recording')} {'has' if short == 1 else 'have'} too few cycles for "
            "curves of their own; the cycles of each person's short recordings are pooled."
        )
    if people == 1 and not results.notes:
        said += " With one participant they say nothing about other people."
    return said


def _summary_rows(results: StudyResults) -> list[list[str]]:
    """Return the range over trials of each number, by condition and procedure."""
    rows = []
    for condition in conditions(results):
        for procedure in procedures(results):
            trials = [
                trial
                for trial in results.trials
                if (trial.condition, trial.procedure, trial.status) == (condition, procedure, "ok")
            ]
            curves = [trial.agreement for trial in trials if trial.agreement is not None]
            wearable = [t.wearable_variability for t in trials if t.wearable_variability]
            reference = [t.reference_variability for t in trials if t.reference_variability]
            rows.append(
                [
                    condition or NOTHING,
                    procedure,
                    str(len(trials)),
                    span(curve.offset for curve in curves),
                    span(curve.rms_demeaned for curve in curves),
                    span(item.sd for item in wearable),
                    span(item.sd for item in reference),
                ]
            )
    return rows
