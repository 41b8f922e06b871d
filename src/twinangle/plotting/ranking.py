"""Figures of the procedures ranked on the same trials."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from twinangle.agreement.ranking import Contest
from twinangle.plotting.alternatives import of_contest
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.results import StudyResults, given
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import file_name, shortened

LONGEST = 22  # letters of a procedure's name
LETTER_MM = 1.6  # width of a letter, at most on average


def draw_contests(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return one figure a condition in which procedures are ranked."""
    return tuple(
        draw_contest(pooled.condition, contest, width_mm, reference_of(pooled.procedure))
        for pooled, contest in given(results.ranking)
    )


def draw_contest(
    condition: str, contest: Contest, width_mm: float = DOUBLE_MM, reference: str = ""
) -> Drawn:
    """Draw the procedures' means in order, and every paired difference with its interval.

    `reference` names that which they are held against, where there are several.
    """
    pairs = contest.differences
    figure, means, paired = _panels(contest, width_mm)
    for k, place in enumerate(contest.standings):
        means.plot([place.mean], [k], "o", color=INK)
    means.set_yticks(
        range(len(contest.standings)),
        [f"{place.rank}. {_shown(place.procedure)}" for place in contest.standings],
    )
    widest = max(place.mean for place in contest.standings)
    means.set(xlim=(0, 1.15 * widest or 1.0), ylim=(len(contest.standings) - 0.5, -0.5))
    means.set_xlabel("RMS demeaned (°)")
    for k, pair in enumerate(pairs):
        colour = FAINT if pair.tied else INK
        paired.plot(
            [pair.difference], [k], "o", color=colour,
            markerfacecolor="white" if pair.tied else colour,
        )  # fmt: skip
        if np.isfinite([pair.lower, pair.upper]).all():
            paired.plot([pair.lower, pair.upper], [k, k], color=colour)
    names = [f"{_shown(pair.first)}\n− {_shown(pair.second)}" for pair in pairs]
    paired.set_yticks(range(len(pairs)), names)
    paired.set_ylim(len(pairs) - 0.5, -0.5)
    paired.axvline(0, color=FAINT, linewidth=0.6, linestyle=LIMIT_DASH)
    paired.set_xlabel("Paired difference (°)")
    letter(means, "a Rank and arithmetic mean")
    letter(paired, "b Every pair")
    few_ticks(means, x=4, y=None)
    few_ticks(paired, x=4, y=None)
    where = " against ".join(filter(None, (condition, reference)))
    caption = (
        f"Procedures on the same trials, {where}: (a) arithmetic mean over participants, equal "
        "ranks are ties; (b) paired differences, intervals that hold together at "
        f"{100 * contest.confidence:g} %; hollow and grey: tied."
    )
    return Drawn(
        file_name("contest", condition, reference), figure, caption, of_contest(condition, contest)
    )


def _shown(name: str) -> str:
    """Return what is ranked, short, without its reference, which the caption names."""
    return shortened(under_test(wearable_of(name), procedure_of(name)), LONGEST)


def _panels(contest: Contest, width_mm: float) -> tuple[Figure, Axes, Axes]:
    """Return the figure and its two panels, with room for the names on their left."""
    longest = max(len(place.procedure) for place in contest.standings)
    left = 8 + LETTER_MM * min(longest, LONGEST)
    height = max(16.0, 7.0 * max(len(contest.differences), len(contest.standings)))
    if is_narrow(width_mm):
        figure = new_figure(width_mm, 2 * height + 30)
        bottoms, width = (height + 24, 9.0), width_mm - left - 4
        means, paired = (add_panel(figure, left, b, width, height) for b in bottoms)
    else:
        figure = new_figure(width_mm, height + 15)
        width = width_mm / 2 - left - 4
        lefts = (left, width_mm / 2 + left)
        means, paired = (add_panel(figure, x, 9, width, height) for x in lefts)
    return figure, means, paired
