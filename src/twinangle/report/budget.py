"""The error budget: the parts of the mean squared difference."""

from __future__ import annotations

import math

from twinangle.agreement.budget import PooledBudget
from twinangle.plotting.budget import PARTS
from twinangle.report.blocks import Block, Figures, bullets, figure, table, text, with_interval
from twinangle.results import StudyResults, given, named
from twinangle.results.grouping import distinct
from twinangle.wording import NOTHING, number


def budget_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the parts of the mean squared difference, pooled."""
    if not given(results.budget):
        return []
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
        for (procedure, condition, _), budget in named(results.budget)
        for part, words in parts.items()
    ]
    people = distinct(str(budget.n_participants) for _, budget in given(results.budget))
    return [
        text(
            "How much of the mean squared difference of all kept cycles repeats every cycle: a "
            "constant offset, a difference of range (gain) and a delay of the curve (timing) as "
            "far as they hold in every part of the cycle, a pattern that is neither, and what can "
            "be put down to any of pattern, range and timing, because it fits a gain or a delay "
            "in one part of the cycle only. The rest differs from cycle to cycle: a level that "
            "drifts slowly, offset, range and timing of single cycles, and what is left. A delay "
            "that is always the same is taken up when the clocks are brought together by the "
            "angle itself: timing is what is left of it, and how far the clock's own uncertainty "
            "moves the RMS stands with the clocks (RMS ±)."
        ),
        *figure("error_budget", figures),
        table(
            ("Condition", "Procedure", "Part", "Mean square (deg²)", "Its root (deg)", "Share, %"),
            rows,
            words=3,
            caption=f"Means over {' or '.join(people)} participants, with "
            f"{results.options.level} intervals over participants (from 4 on; with one "
            "participant over that one's cycles, which says nothing of others). Mean squares add "
            "up to the whole, their roots do not. Each recording's own parts, with intervals "
            "over its cycles, are in tables/trial_numbers.csv.",
        ),
        bullets(
            distinct(line for _, budget in given(results.budget) for line in budget.assumptions)
        ),
    ]


def _bounds(budget: PooledBudget, part: str) -> tuple[float, float]:
    """Return a part's interval: over participants, or over the cycles of the only one."""
    source = budget.budgets[0] if budget.n_participants == 1 else budget
    low, high = getattr(source, f"{part}_ci")
    return float(low), float(high)


def _roots(ends: tuple[float, float]) -> tuple[float, float]:
    """Return the interval of a root mean square: the scale people read."""
    return math.sqrt(ends[0]), math.sqrt(ends[1])
