"""Paragraphs fit for a paper's methods section, with this run's settings and counts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from twinangle.cautions import to_be_stated
from twinangle.report.along_cycle import along_cycle_paragraph
from twinangle.report.blocks import Block, bullets, heading, text
from twinangle.report.budget import budget_paragraph
from twinangle.report.citations import register_of_citations, works_named
from twinangle.report.clocks import clocks_paragraph
from twinangle.report.conditions import conditions_paragraph
from twinangle.report.curves import curves_paragraph
from twinangle.report.cycles import cycles_paragraph
from twinangle.report.decisions import decisions_paragraph
from twinangle.report.equivalence import margin_paragraph
from twinangle.report.forms import forms_paragraph
from twinangle.report.instruments import instruments_paragraph
from twinangle.report.limits import limits_paragraph
from twinangle.report.magnetic_field import magnetic_field_paragraph
from twinangle.report.ranking import ranking_paragraph
from twinangle.report.reliability import reliability_paragraph
from twinangle.report.sensitivity import sensitivity_paragraph
from twinangle.results import StudyResults
from twinangle.results.answer import rests_alike
from twinangle.results.decided import BY_HAND
from twinangle.results.grouping import (
    conditions,
    participants,
    procedures,
    trial_groups,
    worked_recordings,
)
from twinangle.signals.gaps import BRIDGED_S
from twinangle.signals.joint import joint_named
from twinangle.wording import NOTHING, count, listing, span

_FILTERS = {
    "kalman": "The filter kalman is a Kalman filter with smoother for each sensor's orientation "
    "and gyroscope offset; it is the analysing software's own.",
    "vqf": "The filter vqf is the off-line form of the one by Laidig & Seel 2023, run with "
    "the authors' software library vqf.",
}
_HEADINGS = {
    "-two-sensors": "The procedure kalman-two-sensors takes both sensors together: the heading "
    "between them is weighed from their magnetic fields and from the acceleration of the joint's "
    "centre, which both see, and both are then oriented by one field, put together from the two so "
    "that iron in the floor counts least (own method, which no paper describes).",
    "-joint-centre": "Without magnetometers, the heading between the sensors was found from the "
    "common acceleration of the joint's centre (own combination after Weygers & Kok 2020).",
    "-hinge": "Without magnetometers, the heading between the sensors was found by taking the "
    "joint for a hinge (after Laidig et al. 2017).",
}
INVENTED = (
    "The data are invented: no person was recorded, and nothing below may be reported as a study "
    "of people."
)
_AXES = {
    "mean-rate": "mean angular velocity of the joint in the functional movement",
    "principal-component": "principal component of the joint's angular velocity",
    "hinge": "hinge that both segments' angular velocities fit best",
}


def methods_section(results: StudyResults) -> list[Block]:
    """Return the text of methods.txt, but for the margin, which the report states."""
    paragraphs = methods_paragraphs(results, margin=False)
    references = cited(paragraphs)
    blocks = [text(paragraph) for paragraph in paragraphs]
    return [*blocks, heading("References"), bullets(references)] if references else blocks


def methods_text(results: StudyResults) -> str:
    """Return the whole text of `methods.txt`: paragraphs, then the references they name."""
    paragraphs = methods_paragraphs(results)
    listed = cited(paragraphs)
    return "\n\n".join([*paragraphs, "References", *listed]) + "\n"


def cited(paragraphs: tuple[str, ...]) -> tuple[str, ...]:
    """Return the references that the paragraphs name, in alphabetical order."""
    named = {found.key for text in paragraphs for found in works_named(text)}
    return tuple(sorted(register_of_citations()[key].reference() for key in named))


def methods_paragraphs(results: StudyResults, *, margin: bool = True) -> tuple[str, ...]:
    """Return the paragraphs, each on one step, leaving out steps the run did not take.

    Without `margin` they are the same whatever difference was set as acceptable.
    """
    found = (
        INVENTED if results.invented else "",
        _material(results),
        _signals(results),
        _angles(results),
        clocks_paragraph(results),
        cycles_paragraph(results),
        curves_paragraph(results),
        limits_paragraph(results),
        margin_paragraph(results) if margin else "",
        forms_paragraph(results),
        along_cycle_paragraph(results),
        conditions_paragraph(results),
        ranking_paragraph(results),
        instruments_paragraph(results),
        budget_paragraph(results),
        reliability_paragraph(results),
        decisions_paragraph(results),
        sensitivity_paragraph(results),
        magnetic_field_paragraph(results),
        _software(results),
        _people(results),
    )
    return tuple(text for text in found if text)


def setting(results: StudyResults, *path: str) -> Any:
    """Return a parameter of the run by its path, or None where it is not recorded."""
    value: Any = results.parameters
    for key in path:
        if not isinstance(value, Mapping) or key not in value:
            return None
        value = value[key]
    return value


def _material(results: StudyResults) -> str:
    """Say who was recorded, where, and how many recordings entered."""
    groups = trial_groups(results, by_wearable=False)
    working = [group.worked for group in groups if group.worked]
    paired = [each for each in working if any(trial.agreement is not None for trial in each)]
    pooled = [g for g in groups if not g.worked and any(t.status == "pooled" for t in g.results)]
    short, left = len(pooled), len(groups) - len(working) - len(pooled)
    people = len(participants(results))
    text = (
        f"{joint_named(results.joint).label} was measured with inertial sensors on the segments "
        f"on either side of the joint in {count(people, 'participant')} "
        f"({listing(name or 'one condition' for name in conditions(results))}). "
        f"Of {count(len(groups), 'recording')}, {len(working)} could be analysed"
    )
    if short:
        text += (
            f", the cycles of {short} short ones were pooled with those of the same person's others"
        )
    if left:
        verb = "was" if left == 1 else "were"
        by_hand = any(t.reason.startswith(BY_HAND) for group in groups for t in group.results)
        how = "excluded beforehand" + (", taken out by hand" if by_hand else "")
        text += f" and {left} {verb} {how} or could not be analysed"
    if not working:
        return f"{text}."
    if paired:
        text += f"; a reference instrument was worn at the same time in {len(paired)}"
        return f"{text}.{_each_by_itself(results)}"
    return f"{text}; no reference instrument was worn, so no agreement is given."


def _each_by_itself(results: StudyResults) -> str:
    """Say what each procedure and its instruments rest on, where it is not the same of all."""
    alike = rests_alike(results)
    if len(alike) < 2:
        return ""
    each = [
        f"by {listing(names)} {count(rests.worked.n_recordings, 'recording')} of "
        f"{count(rests.worked.n_participants, 'participant')}, of which "
        f"{rests.with_reference.n_recordings} of "
        f"{count(rests.with_reference.n_participants, 'participant')} with a reference"
        for names, rests in alike
    ]
    return f" Not all of them could be analysed in every way: {'; '.join(each)}."


def _signals(results: StudyResults) -> str:
    """Say at which rates the instruments sampled, and what became of gaps."""
    found = [trial.timing for trial in worked_recordings(results)]
    rates = {
        name: span((each[name].rate_hz for each in found if name in each), 1)
        for name in ("wearable", "reference")
    }
    said = [f"the {name} at {rate} Hz" for name, rate in rates.items() if rate != NOTHING]
    if not said:
        return ""
    longest = max((one.longest_gap_s for each in found for one in each.values()), default=0.0)
    text = f"Sampled were {listing(said)}."
    if longest > 0:
        text += (
            f" Gaps of up to {BRIDGED_S:g} s in the sensors' signals were bridged by a cubic "
            f"spline; longer ones (the longest was {longest:.2f} s) stayed gaps, and cycles that "
            "touch one were left out."
        )
    return text


def _filters(results: StudyResults) -> str:
    """Say where each procedure's parts come from; none for a study's own procedures."""
    names = procedures(results)
    said = [words for start, words in _FILTERS.items() if any(n.startswith(start) for n in names)]
    said += [words for end, words in _HEADINGS.items() if any(n.endswith(end) for n in names)]
    return f" {' '.join(said)}" if said else ""


def _angles(results: StudyResults) -> str:
    """Say how the two angles came about."""
    kind = setting(results, "wearable", "kind")
    names = listing(procedures(results))
    text = "Angles are in degrees, flexion positive. "
    if kind == "inertial":
        sample = setting(results, "wearable", "gyroscope_sample")
        text += (
            "The wearable's flexion was computed from the raw signals: orientation of both sensors "
            f"(procedure: {names}), relative orientation against neutral standing, and "
            f"rotation about the functional flexion axis{_axis(results)}"
        )
        text += f"; gyroscope samples were taken as {sample} rates." if sample else "."
        text += _filters(results)
    elif kind == "orientation":
        text += (
            "The wearable's flexion was computed from the orientations it delivered (procedure: "
            f"{names}): relative orientation against neutral standing, and rotation about the "
            f"functional flexion axis{_axis(results)}."
        )
    else:
        text += f"The wearable's angle was used as delivered or computed (procedure: {names})."
    low_pass = setting(results, "reference", "filter_hz")
    if isinstance(low_pass, float | int):
        text += (
            f" The reference's angle was low-pass filtered at {low_pass:g} Hz without phase shift."
        )
    return text


def _axis(results: StudyResults) -> str:
    """Say in brackets how the axis was found and what neutral standing counts as."""
    found = _AXES.get(str(setting(results, "wearable", "axis_method")))
    if found is None:
        return ""
    if setting(results, "wearable", "standing_from_reference"):
        standing = "the reference's mean there"
    else:
        standing = f"{setting(results, 'wearable', 'standing_deg'):g}°"
    return f" ({found}; flexion in neutral standing counts as {standing} unless a trial states it)"


def _people(results: StudyResults) -> str:
    """Leave a place for what the authors alone know: whom they spared, and how they took care."""
    asked = []
    methods = {
        t.synchronisation.method
        for t in worked_recordings(results)
        if t.synchronisation is not None
    }
    if any(method.startswith("event") for method in methods):
        asked.append("the synchronising movements")
    if setting(results, "wearable", "kind") in ("inertial", "orientation"):
        asked.append("the functional movement")
    return to_be_stated(tuple(asked))


def _software(results: StudyResults) -> str:
    """Name the program and what was recorded of the run."""
    return (
        f"Computations were made with twinangle {results.version}; settings are in the report, "
        "and with the SHA-256 of every input file in results.json."
    )
