"""What report and supplement say, page by page, as plain values for the typesetting template.

A section is a title and blocks; a block is a dict with `kind`: "text", "list", "heading", "table",
"figure", "row" (figures side by side) or "notes". All texts are data: the template prints them as
they are, whatever characters they hold.

`REPORT` and `SUPPLEMENT` are the two layouts: a topic's parts stand where its functions are named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from twinangle.report.along_cycle import along_cycle_section
from twinangle.report.angle_quality import angle_quality_blocks
from twinangle.report.answer import CAUTIONS, above_all, answer_blocks
from twinangle.report.blocks import Block, Figures
from twinangle.report.budget import budget_section, further_budget_section
from twinangle.report.by_hand import every_cycle_by_hand_section
from twinangle.report.clocks import clocks_blocks
from twinangle.report.conditions import conditions_section, further_conditions_section
from twinangle.report.cycles import bouts_blocks, durations_blocks
from twinangle.report.daily_life import daily_life_section
from twinangle.report.decisions import decisions_section, every_decision_section
from twinangle.report.distribution import distribution_section
from twinangle.report.exclusions import exclusions_section, failures_section, warnings_section
from twinangle.report.instruments import (
    further_instruments_section,
    instruments_section,
    pairs_section,
)
from twinangle.report.limits import further_limits_section, limits_section
from twinangle.report.magnetic_field import by_condition_blocks, magnetic_field_blocks
from twinangle.report.methods import methods_section
from twinangle.report.participants import further_participants_section, participants_section
from twinangle.report.provenance import files_section, settings_section
from twinangle.report.ranking import further_ranking_section, ranking_section
from twinangle.report.recordings_pooled import recordings_pooled_section
from twinangle.report.reliability import reliability_section, sessions_section
from twinangle.report.sensitivity import sensitivity_section
from twinangle.report.sensors import sensors_blocks
from twinangle.report.trials import every_trial, participant_sections
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming, distinct, procedures, trial_groups, worked_recordings
from twinangle.signals.joint import joint_named
from twinangle.under_test import procedure_of, reference_of
from twinangle.wording import NOTHING, breakable, listing

Section = tuple[str, list[Block]]
Part = Callable[[StudyResults, Figures], list[Section]]


def _titled(title: str, blocks: Callable[[StudyResults, Figures], list[Block]]) -> Part:
    """Return a part of one section."""
    return lambda results, figures: [(title, blocks(results, figures))]


def _plain(title: str, blocks: Callable[[StudyResults], list[Block]]) -> Part:
    """Return a part of one section that has no figure."""
    return lambda results, _: [(title, blocks(results))]


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


LEFT_OUT = "What was left out and what to beware of"
REPORT: Sequence[Part] = (  # behind the answer on the first page
    _titled("Participants at a glance", participants_section),
    _titled("Limits of agreement", limits_section),
    _titled("Along the cycle", along_cycle_section),
    _titled("Conditions", conditions_section),
    _titled("Procedures compared", ranking_section),
    _titled("Test and retest", sessions_section),
    _titled("Instruments held against each other", instruments_section),
    _titled("Daily life", daily_life_section),
    _plain(LEFT_OUT, exclusions_section),
    _titled("Error budget", budget_section),
    _plain("What was decided by hand", decisions_section),
    _plain("Margin and settings", settings_section),
)
MANY_RECORDINGS = 20
"""From so many on, groups of the supplement begin a page each and are laid out side by side.

What that saves of fewer is too little to leave a page nearly empty for. Own rule.
"""
SUPPLEMENT: Sequence[Sequence[Part]] = (
    (
        _plain("Every recording", every_trial),
        _plain("Short recordings, pooled", recordings_pooled_section),
        participant_sections,
    ),
    (
        _plain("Participants, other references", further_participants_section),
        _titled("Limits of agreement in full", further_limits_section),
        _plain("Conditions in full", further_conditions_section),
        _plain("Error budget in numbers", further_budget_section),
        _titled("Procedures compared in full", further_ranking_section),
        _titled("Distribution of the differences", distribution_section),
        _plain("Limits without each participant", sensitivity_section),
        _titled("Instruments in full", further_instruments_section),
        _plain("Pairs of instruments, by recording", pairs_section),
        _plain("Reliability", reliability_section),
        _titled("Recordings, clocks and sensors", recordings_section),
        _plain("Every failure", failures_section),
        _plain("Every warning", warnings_section),
        _plain("Every cycle by hand", every_cycle_by_hand_section),
        _plain("Every decision", every_decision_section),
        _plain("Methods", methods_section),
        _plain("Input files", files_section),
    ),
)


def report_content(results: StudyResults, figures: Figures) -> dict[str, Any]:
    """Return everything that the template prints as the report.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    figures : mapping of str to tuple of str
        Caption and alternative text of every figure drawn, by file name without suffix.

    Returns
    -------
    dict
        `title`, `subtitle`, `banner`, `first` (blocks of the first page), `cautions` and
        `sections`, of plain values.
    """
    return {
        **_head(results),
        "contents": False,
        "first": answer_blocks(results, figures),
        "cautions": list(CAUTIONS),
        "sections": _sections(REPORT, results, figures),
    }


def supplement_content(results: StudyResults, figures: Figures) -> dict[str, Any]:
    """Return everything that the template prints as the supplement, as :func:`report_content`."""
    head = _head(results)
    apart = len(trial_groups(results)) >= MANY_RECORDINGS
    return {
        **head,
        "title": f"{head['title']}: supplement",
        "contents": True,
        "first": [],
        "cautions": list(CAUTIONS),
        "sections": [
            {**section, "begins_page": apart and k == 0}
            for parts in SUPPLEMENT
            for k, section in enumerate(_sections(parts, results, figures))
        ],
    }


def _head(results: StudyResults) -> dict[str, Any]:
    """Return what stands at the top of either."""
    return {
        "title": results.title,
        "subtitle": f"{joint_named(results.joint).label} from inertial sensors "
        f"({breakable(_under_test(results))}), held against {_references(results)} worn at the "
        f"same time. Made with twinangle {results.version}.",
        "banner": " ".join(above_all(results)),
    }


def _under_test(results: StudyResults) -> str:
    """Return the wearables, where there are several, and the procedures."""
    names = listing(distinct(procedure_of(name) for name in procedures(results))) or NOTHING
    wearables = listing(distinct(trial.wearable for trial in results.trials if trial.wearable))
    return f"{wearables}; {names}" if wearables else names


def _references(results: StudyResults) -> str:
    """Return the references, where there are several."""
    names = distinct(filter(None, map(reference_of, procedures(results))))
    return f"{breakable(listing(names))}," if names else "a reference instrument"


def _sections(
    parts: Sequence[Part], results: StudyResults, figures: Figures
) -> list[dict[str, Any]]:
    """Return the sections of a layout that have something to say."""
    return [
        {"title": title, "blocks": blocks}
        for part in parts
        for title, blocks in part(results, figures)
        if blocks
    ]
