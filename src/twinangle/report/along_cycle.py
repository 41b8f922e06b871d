"""Limits along the cycle, and where the instruments differ."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    against_one,
    bullets,
    described,
    figures_named,
    text,
)
from twinangle.results import AlongCycle, StudyResults, given, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct
from twinangle.under_test import reference_of
from twinangle.wording import NOTHING, number


def along_cycle_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return limits along the cycle, and where the instruments differ, if anywhere."""
    main = reference_of(answer_of(results).procedure)
    found = against_one(named(results.along_cycle), main)
    if not found:
        return []
    rows = []
    for (procedure, condition, _), both in found:
        limits, difference = both.limits, both.difference
        n = limits.bias.size - 1
        regions = [_region(100 * first / n, 100 * last / n) for first, last in difference.regions]
        if regions:
            rows.append(
                [
                    condition or NOTHING,
                    procedure,
                    "; ".join(regions),
                    f"{limits.n_participants} / {limits.n_curves}",
                ]
            )
    family = f"(α = {number(found[0][1].difference.alpha, 3)}"
    caption = (
        "Where along the cycle the mean difference is not zero, the whole cycle tested as one "
        f"family {family}). Where nothing stands, no difference is shown."
    )
    if main:
        under = distinct(key[1] for key, _ in named(results.along_cycle) if key[1])
        one = f" under “{under[0]}”" if len(under) == 1 else ""
        caption += f" Against {main}{one}; of every reference in tables/along_cycle.csv."
    shown = (
        described(
            caption,
            tuple(
                map(
                    Column,
                    ("Condition", "Procedure", "Where the instruments differ", "People / cycles"),
                )
            ),
            rows,
            words=3,
        )
        if rows
        else [text(_nowhere(found, family))]
    )
    assumed = distinct(line for _, both in found for line in both.limits.assumptions)
    return [*figures_named(figures, "along-cycle"), *shown, bullets(assumed)]


def _region(first: float, last: float) -> str:
    """Return a stretch of the cycle in per cent; one that is a single point as such."""
    shown = f"{first:.0f}", f"{last:.0f}"
    return f"at {shown[0]} %" if shown[0] == shown[1] else f"{shown[0]} to {shown[1]} %"


def _nowhere(found: Sequence[tuple[tuple[str, str, str], AlongCycle]], family: str) -> str:
    """Say that no difference is shown, and how small a p so few participants can give."""
    smallest = max(both.difference.smallest_p for _, both in found)
    return (
        "Nowhere along the cycle is a mean difference shown, the whole cycle tested as one family "
        f"{family}; the smallest p that so few participants can give is "
        f"{number(smallest, 4)}). That is no proof of none."
    )


def along_cycle_paragraph(results: StudyResults) -> str:
    """Say how the difference along the cycle was described and tested."""
    if not given(results.along_cycle):
        return ""
    return (
        "Along the cycle, the mean difference over participants was given with a "
        f"{results.options.level} band that holds at all points at once (expected number of "
        "exceedances of a t process; Telschow & Schwartzman 2022), and limits of agreement at "
        "each point by itself. Where the instruments differ was tested with the whole cycle as one "
        "family, by the largest t over the points under changed signs of participants' mean "
        "difference curves (Nichols & Holmes 2002)."
    )
