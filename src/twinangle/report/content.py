"""What the report says, page by page, as plain values for the typesetting template.

A section is a title and blocks; a block is a dict with `kind`: "text", "list", "heading",
"table", "figure", "group" (blocks kept on one page) or "break". All texts are data: the template
prints them as they are, whatever characters they hold.
"""

from __future__ import annotations

from typing import Any

from twinangle.report.angle_quality import angle_quality_blocks
from twinangle.report.blocks import Block, Figures
from twinangle.report.budget import budget_section
from twinangle.report.clocks import clocks_blocks
from twinangle.report.conditions import conditions_section
from twinangle.report.cycles import bouts_blocks, durations_blocks
from twinangle.report.exclusions import exclusions_section
from twinangle.report.limits import limits_section
from twinangle.report.magnetic_field import by_condition_blocks, magnetic_field_blocks
from twinangle.report.methods import methods_section
from twinangle.report.overview import overview_section
from twinangle.report.provenance import provenance_section
from twinangle.report.ranking import ranking_section
from twinangle.report.recordings_pooled import recordings_pooled_section
from twinangle.report.reliability import reliability_section
from twinangle.report.sensors import sensors_blocks
from twinangle.report.trials import every_trial, participant_sections
from twinangle.results import StudyResults
from twinangle.results.grouping import (
    Naming,
    conditions,
    participants,
    procedures,
    trial_groups,
    worked_recordings,
)
from twinangle.signals.joint import joint_named
from twinangle.wording import NO_MARGIN, NOTHING, breakable, stated

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
        ("Summary", overview_section(results, figures)),
        ("Every trial", every_trial(results)),
        ("Short recordings, pooled", recordings_pooled_section(results)),
        *participant_sections(results, figures),
        ("Limits of agreement", limits_section(results, figures)),
        ("Procedures compared", ranking_section(results, figures)),
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
    status = [group.main.status for group in groups]
    paired = [g.main for g in groups if g.main.agreement is not None]
    kept = sum(int(g.main.cycles.kept.sum()) for g in groups if g.main.cycles is not None)
    return [
        ["Participants", str(len(participants(results)))],
        ["Conditions", breakable(", ".join(conditions(results)) or NOTHING)],
        [
            "Recordings",
            (
                f"{len(groups)}: {status.count('ok')} analysed ({len(paired)} with a reference), "
                f"{_short(status.count('pooled'))}"
                f"{status.count('failed')} failed, {status.count('excluded')} excluded beforehand"
            ),
        ],
        ["Cycles kept", f"{kept} ({procedures(results)[0]})" if groups else "0"],
        ["Procedures", breakable(", ".join(procedures(results)) or NOTHING)],
        ["Acceptable difference", _margin(results)],
        ["Software", f"twinangle {results.version}"],
    ]


def _short(count: int) -> str:
    return f"{count} short and pooled, " if count else ""


def _margin(results: StudyResults) -> str:
    """Return the margin as the study file states it, or that it states none."""
    margin = results.options.margin_deg
    return NO_MARGIN if margin is None else f"±{stated(margin)}°, set in the study file"


def recordings_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what the recordings themselves tell: strides, clocks, sensors, field."""
    naming, worked = Naming(results), worked_recordings(results)
    return [
        *durations_blocks(worked, naming),
        *bouts_blocks(worked, naming),
        *clocks_blocks(worked, naming, results.options),
        *angle_quality_blocks(results, naming),
        *sensors_blocks(worked, naming),
        *magnetic_field_blocks(worked, naming, figures),
        *by_condition_blocks(results),
    ]
