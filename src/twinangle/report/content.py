"""What the report says, page by page, as plain values for the typesetting template.

A section is a title and blocks; a block is a dict with `kind`: "text", "list", "heading",
"table", "figure", "group" (blocks kept on one page) or "break". All texts are data: the template
prints them as they are, whatever characters they hold.
"""

from __future__ import annotations

from typing import Any

from twinangle.report.blocks import Block, Figures, figure, table, text
from twinangle.report.content_depth import budget_section, contest_section
from twinangle.report.content_further import (
    curves_table,
    reliability_section,
    variability_table,
)
from twinangle.report.content_pooled import (
    conditions_section,
    limits_section,
    limits_table,
)
from twinangle.report.content_records import (
    exclusions_section,
    methods_section,
    provenance_section,
)
from twinangle.report.content_sensors import recordings_section
from twinangle.report.content_trials import every_trial, participant_sections
from twinangle.report.grouping import conditions, participants, procedures, trial_groups
from twinangle.report.wording import NO_MARGIN, NOTHING, breakable, count, span, stated
from twinangle.results import StudyResults
from twinangle.signals.joint import joint_named

CAUTIONS = (
    (
        "For research use only: not a medical device, and not for diagnosis or treatment "
        "decisions. Leave those to licensed clinicians."
    ),
    (
        "Record people only with the approval of an ethics committee and their informed consent; "
        "local rules come first."
    ),
    "Name participants by code only, here and in every file.",
    "Outdoors choose a safe route, and let somebody spot participants who may fall.",
    (
        "The numbers hold for these participants, instruments, placements and surroundings. A "
        "reference instrument has errors of its own, and they are part of every difference shown."
    ),
)


def report_content(results: StudyResults, figures: Figures) -> dict[str, Any]:
    """Return everything the template prints.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    figures : mapping of str to tuple of str
        Caption and alternative text of every figure drawn, by file name without suffix.

    Returns
    -------
    dict
        `title`, `subtitle`, `facts`, `cautions` and `sections`, of plain values.
    """
    sections = [
        ("Summary", _summary(results, figures)),
        ("Every trial", every_trial(results)),
        *participant_sections(results, figures),
        ("Limits of agreement", limits_section(results, figures)),
        ("Procedures compared", contest_section(results, figures)),
        ("Error budget", budget_section(results, figures)),
        ("Conditions", conditions_section(results, figures)),
        ("Reliability", reliability_section(results)),
        ("Recordings, clocks and sensors", recordings_section(results, figures)),
        ("Exclusions, failures and warnings", exclusions_section(results)),
        ("Methods", methods_section(results)),
        ("Parameters and input files", provenance_section(results)),
    ]
    return {
        "title": results.title,
        "subtitle": f"{joint_named(results.joint).label} from inertial sensors, held against a "
        "reference instrument worn at the same time",
        "facts": _facts(results),
        "cautions": list(CAUTIONS),
        "sections": [{"title": title, "blocks": blocks} for title, blocks in sections if blocks],
    }


def _facts(results: StudyResults) -> list[list[str]]:
    """Return the run at a glance, for the title page."""
    groups = trial_groups(results)
    status = [group_.main.status for group_ in groups]
    paired = [g.main for g in groups if g.main.agreement is not None]
    kept = sum(int(g.main.cycles.kept.sum()) for g in groups if g.main.cycles is not None)
    return [
        ["Participants", str(len(participants(results)))],
        ["Conditions", breakable(", ".join(conditions(results)) or NOTHING)],
        [
            "Recordings",
            (
                f"{len(groups)}: {status.count('ok')} analysed ({len(paired)} with a reference), "
                f"{status.count('failed')} failed, {status.count('excluded')} excluded beforehand"
            ),
        ],
        ["Cycles kept", f"{kept} ({procedures(results)[0]})" if groups else "0"],
        ["Procedures", breakable(", ".join(procedures(results)) or NOTHING)],
        ["Acceptable difference", _margin(results)],
        ["Software", f"twinangle {results.version}"],
    ]


def _margin(results: StudyResults) -> str:
    """Return the margin as the study file states it, or that it states none."""
    margin = results.options.margin_deg
    return NO_MARGIN if margin is None else f"±{stated(margin)}°, set in the study file"


def _summary(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the one page that answers the question."""
    if not any(trial.status == "ok" for trial in results.trials):
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
    worked = [g.main for g in trial_groups(results) if g.main.status == "ok"]
    paired = [trial for trial in worked if trial.agreement is not None]
    kept = sum(int(trial.cycles.kept.sum()) for trial in worked if trial.cycles is not None)
    people = len({trial.participant for trial in worked})
    with_reference = len({trial.participant for trial in paired})
    said = (
        f"These numbers rest on {count(people, 'participant')}, "
        f"{count(len(worked), 'recording')} and {count(kept, 'cycle')}; "
        f"{count(len(paired), 'recording')} of {count(with_reference, 'participant')} "
        f"{'has' if len(paired) == 1 else 'have'} a reference."
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
