"""The verdict against the margin: its cells, its sentences, what it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.equivalence import Equivalence
from twinangle.report.blocks import Block, bullets, heading
from twinangle.results import StudyResults, given
from twinangle.results.grouping import distinct
from twinangle.wording import NO_MARGIN, NOTHING, number, stated


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
        "Undecided is no proof of either."
        + (
            " Inside from: the smallest margin within which both limits and their intervals lie."
            if len(head) > 1
            else ""
        )
    )


def margin_sentence(results: StudyResults) -> str:
    """Say which margin was stated beforehand, or that none was."""
    margin = results.options.margin_deg
    if margin is None:
        return f"{NO_MARGIN.capitalize()} beforehand, so nothing was tested against one."
    return (
        f"A difference of ±{stated(margin)}° was set beforehand as acceptable. Limits were called "
        f"inside this margin where both, with their {results.options.level} intervals, lay within "
        "it (an intersection-union rule; Berger & Hsu 1996), outside where one lay beyond it with "
        "its whole interval, and undecided otherwise."
    )
