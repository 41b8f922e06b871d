"""The error budget: the parts of the mean squared difference."""

from __future__ import annotations

import math
from collections.abc import Sequence

from twinangle.agreement.pooled_budget import PooledBudget
from twinangle.plotting.budget import PARTS
from twinangle.report.blocks import Block, Figures, bullets, figure, table, text, with_interval
from twinangle.results import StudyResults, given, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct
from twinangle.under_test import JOIN
from twinangle.wording import NOTHING, number

Named = tuple[tuple[str, str, str], PooledBudget]
LEAST_SHOWN = 0.005  # share of the whole below which a part would be printed as 0
MEANING = (
    "How much of the mean squared difference of all kept cycles repeats every cycle: a "
    "constant offset, a difference of range (gain) and a delay of the curve (timing) as "
    "far as they hold in every part of the cycle, a pattern that is neither, and what can "
    "be put down to any of pattern, range and timing, because it fits a gain or a delay "
    "in one part of the cycle only. The rest differs from cycle to cycle: a level that "
    "drifts slowly, offset, range and timing of single cycles, and what is left. A delay "
    "that is always the same is taken up when the clocks are brought together by the "
    "angle itself: timing is what is left of it, and how far the clock's own uncertainty "
    "moves the RMS stands with the clocks (RMS ±)."
)


def budget_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the parts of the mean squared difference, pooled."""
    if not given(results.budget):
        return []
    told = _in_the_report(results)
    return [
        text(MEANING),
        *figure("error_budget", figures),
        *([_parts_table(results, told)] if told else [text("In numbers: in the supplement.")]),
        bullets(
            distinct(line for _, budget in given(results.budget) for line in budget.assumptions)
        ),
    ]


def further_budget_section(results: StudyResults) -> list[Block]:
    """Return the parts whose numbers are not in the report."""
    told = [key for key, _ in _in_the_report(results)]
    others = [each for each in named(results.budget) if each[0] not in told]
    return [_parts_table(results, others)] if others else []


def _in_the_report(results: StudyResults) -> list[Named]:
    """Return the budgets of the main procedure; of several instruments the figure has all alike."""
    main = answer_of(results).procedure
    if JOIN in main:
        return []
    return [each for each in named(results.budget) if each[0][0] == main]


def _parts_table(results: StudyResults, budgets: Sequence[Named]) -> Block:
    parts = {**PARTS, "total": "whole"}
    rows = [
        [
            condition or NOTHING,
            procedure,
            words.capitalize(),
            with_interval(getattr(budget, part), _bounds(budget, part), 3),
            with_interval(math.sqrt(getattr(budget, part)), _roots(_bounds(budget, part))),
            number(100 * getattr(budget, part) / budget.total, 0) if budget.total > 0 else NOTHING,
        ]
        for (procedure, condition, _), budget in budgets
        for part, words in parts.items()
        if getattr(budget, part) >= LEAST_SHOWN * budget.total
    ]
    people = distinct(str(budget.n_participants) for _, budget in budgets)
    return table(
        ("Condition", "Procedure", "Part", "Mean square (deg²)", "Its root (deg)", "Share, %"),
        rows,
        words=3,
        caption=f"Means over {' or '.join(people)} participants, with "
        f"{results.options.level} intervals over participants (from 4 on; with one "
        "participant over that one's cycles, which says nothing of others). Mean squares add "
        "up to the whole, their roots do not. Parts below half a percent of it are left out. "
        "Each recording's own parts, with intervals "
        "over its cycles, are in tables/trial_numbers.csv.",
    )


def _bounds(budget: PooledBudget, part: str) -> tuple[float, float]:
    """Return a part's interval: over participants, or over the cycles of the only one."""
    source = budget.budgets[0] if budget.n_participants == 1 else budget
    low, high = getattr(source, f"{part}_ci")
    return float(low), float(high)


def _roots(ends: tuple[float, float]) -> tuple[float, float]:
    """Return the interval of a root mean square: the scale people read."""
    return math.sqrt(ends[0]), math.sqrt(ends[1])


def budget_paragraph(results: StudyResults) -> str:
    """Say how the mean squared difference was taken apart."""
    if not given(results.budget):
        return ""
    return (
        "The mean squared difference over all cycles was taken apart into what repeats every cycle "
        "(offset, range, timing, pattern, and what fits several of them), a level that drifts "
        "slowly, and what differs from cycle to cycle; the parts add up to the whole. This "
        "division is the analysing software's own method, which no paper describes; of its parts, "
        "offset, size and pattern follow Kobayashi & Salam 2000. Intervals are over participants."
    )
