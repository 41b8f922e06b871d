"""Figures of the procedures ranked on the same trials."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement._result import counted
from twinangle.agreement.ranking import Contest
from twinangle.plotting.alternatives import of_contest
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
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
from twinangle.plotting.onto import on_axes, value_of
from twinangle.results import Pooled, StudyResults, given
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import file_name, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
    figure, means, paired = _panels(contest, width_mm)
    sure = contest.can_tell_apart()
    letter(plot_ranks(contest, means), f"a {'Rank and arithmetic' if sure else 'Arithmetic'} mean")
    letter(plot_rank_differences(contest, paired), "b Every pair")
    where = " against ".join(filter(None, (condition, reference)))
    caption = (
        f"Procedures on the same trials, {where}: (a) arithmetic mean over "
        f"{counted(contest.n_participants, 'participant')}{', equal ranks are ties' * sure}; (b) "
        f"paired differences, intervals that hold together at {100 * contest.confidence:g} %; "
        f"hollow and grey: {'tied' if sure else 'too few people to tell'}."
    )
    return Drawn(
        file_name("contest", condition, reference), figure, caption, of_contest(condition, contest)
    )


def _shown(name: str) -> str:
    """Return what is ranked, short, without its reference, which the caption names."""
    return shortened(under_test(wearable_of(name), procedure_of(name)), LONGEST)


def plot_ranks(result: Pooled[Contest] | Contest, ax: Axes | None = None) -> Axes:
    """Draw the procedures' arithmetic means over participants, in order; equal ranks are ties.

    Parameters
    ----------
    result : Pooled or Contest
        Procedures ranked on the same trials.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_ranks(results.ranking[0])
    """
    contest = value_of(result, Contest, "`results.ranking[0]`")
    with on_axes(ax, height_mm=20 + 9.0 * len(contest.standings)) as axes:
        for k, place in enumerate(contest.standings):
            axes.plot([place.mean], [k], "o", color=INK)
        axes.set_yticks(
            range(len(contest.standings)),
            [f"{contest.before(place)}{_shown(place.procedure)}" for place in contest.standings],
        )
        widest = max(place.mean for place in contest.standings)
        axes.set(xlim=(0, 1.15 * widest or 1.0), ylim=(len(contest.standings) - 0.5, -0.5))
        axes.set_xlabel("RMS demeaned (°)")
        few_ticks(axes, x=4, y=None)
    return axes


def plot_rank_differences(result: Pooled[Contest] | Contest, ax: Axes | None = None) -> Axes:
    """Draw every pair's difference, with intervals that hold together; hollow and grey: tied.

    Parameters
    ----------
    result : Pooled or Contest
        Procedures ranked on the same trials.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_rank_differences(results.ranking[0])
    """
    contest = value_of(result, Contest, "`results.ranking[0]`")
    pairs = contest.differences
    with on_axes(ax, height_mm=20 + 12.0 * len(pairs)) as axes:
        for k, pair in enumerate(pairs):
            colour = FAINT if pair.tied else INK
            axes.plot(
                [pair.difference], [k], "o", color=colour,
                markerfacecolor="white" if pair.tied else colour,
            )  # fmt: skip
            if np.isfinite([pair.lower, pair.upper]).all():
                axes.plot([pair.lower, pair.upper], [k, k], color=colour)
        axes.set_yticks(
            range(len(pairs)),
            [f"{_shown(p.first)}\n− {_shown(p.second)}" for p in pairs],
        )
        axes.set_ylim(len(pairs) - 0.5, -0.5)
        axes.axvline(0, color=FAINT, linewidth=0.6, linestyle=LIMIT_DASH)
        axes.set_xlabel("Paired difference (°)")
        few_ticks(axes, x=4, y=None)
    return axes


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
