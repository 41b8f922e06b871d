"""The verdict against the margin: its cells, its sentences, what it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.equivalence import Equivalence
from twinangle.report.blocks import Block, bullets, heading
from twinangle.results import StudyResults, given
from twinangle.results.grouping import distinct
from twinangle.wording import NO_MARGIN, NOTHING, number, stated

INSIDE_FROM = "Inside from: the smallest margin within which both limits and their intervals lie."


def verdict_blocks(results: StudyResults) -> list[Block]:
    """Return what the verdicts against the margin rest on, and what they hold."""
    rests = [line for _, claim in given(results.equivalence) for line in claim.rests_on]
    return [heading("What the verdict rests on"), bullets(distinct(rests))] if rests else []


def verdict_cells(claim: Equivalence | None) -> list[str]:
    """Return the cells of a verdict."""
    if claim is None:
        return [NOTHING, NOTHING]
    return [claim.verdict, number(claim.inside_from_shown)]


def held_against(head: Sequence[str]) -> str:
    """Say what the last column means, or that there is nothing to hold the limits against."""
    if not head:
        return f"{NO_MARGIN.capitalize()}, so they are tested against none."
    return (
        f"{head[0]}, the margin set in the study file: inside, both limits and their intervals lie "
        "within it; outside, a limit and its whole interval lie beyond it; undecided, neither. "
        "Undecided is no proof of either." + (f" {INSIDE_FROM}" if len(head) > 1 else "")
    )


def inside_from_alone(head: Sequence[str]) -> str:
    """Say what the last column means where the verdicts themselves stand elsewhere."""
    said = f"{INSIDE_FROM} " if head else ""
    return f"{said}Verdicts against a margin are in `tables/equivalence.csv`."


def margin_paragraph(results: StudyResults) -> str:
    """Say which margin was stated beforehand, or that none was, and which errors matter."""
    if not given(results.limits):
        return ""
    margin = results.options.margin_deg
    if margin is None:
        said = f"{NO_MARGIN.capitalize()} beforehand, so nothing was tested against one."
    else:
        said = (
            f"A difference of ±{stated(margin)}° was set beforehand as acceptable. Limits were "
            f"called inside this margin where both, with their {results.options.level} intervals, "
            "lay within it (an intersection-union rule; Berger & Hsu 1996), outside where one lay "
            "beyond it with its whole interval, and undecided otherwise."
        )
    return (
        f"{said} For orientation, errors of 2° or less are thought highly likely acceptable in "
        "clinical gait analysis, 2 to 5° probably reasonable, and more than 5° may mislead "
        "(McGinley et al. 2009)."
    )
