"""Figure of how the differences are distributed: histogram and normal quantile plot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import scipy

from twinangle.plotting.alternatives import of_distribution
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    POINT,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
    participant_marker,
)
from twinangle.plotting.onto import on_axes, value_of
from twinangle.results import Pooled, StudyLimits, StudyResults, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct, participants
from twinangle.signals.recording import Array
from twinangle.wording import quantity_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch

FEWEST_MEANS = 4  # of fewer participants' means a plot against normal quantiles shows nothing
MOST_BINS = 24


def draw_distribution(results: StudyResults, width_mm: float = DOUBLE_MM) -> Drawn | None:
    """Draw, for each quantity, a histogram and the differences against normal quantiles.

    The main procedure and condition. The quantile plot is of participants' means, which is what
    the limits take to be normal over people; with fewer than four of them, of the cycles.
    """
    answer = answer_of(results)
    found = [
        (key[2], limits)
        for key, limits in named(results.limits)
        if key[:2] == (answer.procedure, answer.condition) and limits.difference.size > 1
    ]
    if not found:
        return None
    figure, panels = _panels(width_mm, len(found))
    by_people = _by_people(found[0][1])
    for k, ((above, below), (quantity, limits)) in enumerate(zip(panels, found, strict=True)):
        plot_histogram(limits, above)
        letter(above, f"{'abc'[k]} {quantity_name(quantity)}")
        plot_quantiles(limits, below, participants=participants(results))
        if k and not is_narrow(width_mm):
            above.set_ylabel("")
            below.set_ylabel("")
    of_whom = "participants' mean differences" if by_people else "the differences of single cycles"
    caption = (
        f"Distribution of the differences, {answer.condition}, {answer.procedure}: histogram of "
        f"all cycles (solid line: their bias; dashed: limits of agreement), and {of_whom} against "
        "the quantiles of a normal distribution (Blom's scores); the line is where normal values "
        "of the same mean and SD would lie."
    )
    return Drawn("distribution", figure, caption, of_distribution(found))


def plot_histogram(result: Pooled[StudyLimits] | StudyLimits, ax: Axes | None = None) -> Axes:
    """Draw how many cycles have which difference; solid: bias, dashed: limits of agreement.

    Parameters
    ----------
    result : Pooled or StudyLimits
        Limits with the points they are of, as a run gives them.
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
    >>> ax = plotting.plot_histogram(results.limits[0])
    """
    found = value_of(result, StudyLimits, "`results.limits[0]`")
    with on_axes(ax) as axes:
        _draw_histogram(axes, found)
        axes.set(xlabel="Wearable − reference (°)", ylabel="Cycles")
    return axes


def plot_quantiles(
    result: Pooled[StudyLimits] | StudyLimits,
    ax: Axes | None = None,
    *,
    participants: Sequence[str] = (),
) -> Axes:
    """Draw the differences in order against the quantiles of a normal distribution.

    Participants' means, or with fewer than four participants single cycles; the line is where
    normal values of the same mean and SD would lie (Blom's scores).

    Parameters
    ----------
    result : Pooled or StudyLimits
        Limits with the points they are of, as a run gives them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    participants : sequence of str
        Everyone of the study, so that a participant has the same mark in every plot; without them,
        those of this plot.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent, or holds fewer than two points.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_quantiles(results.limits[0])
    """
    found = value_of(result, StudyLimits, "`results.limits[0]`")
    if found.difference.size < 2:
        raise ValueError("There is nothing to draw: quantiles need two points or more.")
    by_people = _by_people(found)
    everyone = tuple(participants) or distinct(found.participant)
    with on_axes(ax) as axes:
        _draw_quantiles(axes, found, everyone, by_people=by_people)
        axes.set_xlabel("Normal quantile")
        axes.set_ylabel(f"{'Mean d' if by_people else 'D'}ifference (°)")
    return axes


def _by_people(found: StudyLimits) -> bool:
    return len(set(found.participant)) >= FEWEST_MEANS


def _panels(width_mm: float, n: int) -> tuple[Figure, list[tuple[Axes, Axes]]]:
    """Return the figure and, for each quantity, the histogram's panel and the quantiles'."""
    if is_narrow(width_mm):
        each, tall = (width_mm - 32) / 2, 44.0
        figure = new_figure(width_mm, n * tall)
        bottoms = [9 + (n - 1 - k) * tall for k in range(n)]
        left = width_mm - 5 - each
        return figure, [
            (add_panel(figure, 12, b, each, 29), add_panel(figure, left, b, each, 29))
            for b in bottoms
        ]
    each = (width_mm - 17 - 24) / 3
    figure = new_figure(width_mm, 92)
    lefts = [13 + k * (each + 12) for k in range(n)]
    return figure, [
        (add_panel(figure, left, 54, each, 32), add_panel(figure, left, 9, each, 32))
        for left in lefts
    ]


def _draw_histogram(axes: Axes, found: StudyLimits) -> None:
    """Draw how many cycles have which difference, with bias and limits."""
    bins = min(MOST_BINS, max(5, round(np.sqrt(found.difference.size))))
    counts, edges = np.histogram(found.difference, bins=bins)
    axes.add_artist(_bars(counts, edges))
    axes.update_datalim([(edges[0], 0), (edges[-1], counts.max())])
    axes.autoscale_view()
    axes.axvline(found.limits.bias, color=INK, linewidth=1.0)
    for level in (found.limits.lower, found.limits.upper):
        axes.axvline(level, color=INK, linewidth=0.8, linestyle=LIMIT_DASH)
    few_ticks(axes, x=4, y=4)


def _bars(counts: Array, edges: Array) -> PathPatch:
    """Return the bars of a histogram as one: each by itself takes as long as a panel."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    zeros = np.zeros(counts.size)
    corners = (edges[:-1], zeros), (edges[1:], zeros), (edges[1:], counts), (edges[:-1], counts)
    around = np.stack([np.stack(each, axis=1) for each in (*corners, corners[0])], axis=1)
    codes = [Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY] * counts.size
    bars = PathPatch(
        Path(around.reshape(-1, 2), codes), facecolor=POINT, edgecolor="white", linewidth=0.5
    )
    bars.sticky_edges.y.append(0)
    return bars


def _draw_quantiles(
    axes: Axes, found: StudyLimits, everyone: Sequence[str], *, by_people: bool
) -> None:
    """Draw ordered values against normal scores, and the line of a normal distribution."""
    codes = np.array(found.participant)
    people = distinct(found.participant)
    values: Array = found.difference
    marks = ["o"] * values.size
    if by_people:
        values = np.array([found.difference[codes == code].mean() for code in people])
        marks = [participant_marker(code, everyone) for code in people]
    order = np.argsort(values, kind="stable")
    scores = normal_scores(values.size)
    line = np.array([scores[0], scores[-1]]) * 1.15
    axes.plot(line, values.mean() + line * values.std(ddof=1), color=FAINT, linewidth=0.8)
    size = 3.8 if by_people else 1.6
    for mark in dict.fromkeys(marks):
        mine = [k for k, at in enumerate(order) if marks[at] == mark]
        axes.plot(
            scores[mine], values[order[mine]], linestyle="", marker=mark, color=INK,
            markersize=size, markeredgewidth=0,
        )  # fmt: skip
    few_ticks(axes, x=4, y=5)


def normal_scores(n: int) -> Array:
    """Return where `n` ordered normal values are expected to lie, about.

    Φ⁻¹((i − 3/8)/(n + 1/4)), i = 1 … n (Blom 1958).
    """
    return np.asarray(scipy.special.ndtri((np.arange(1, n + 1) - 0.375) / (n + 0.25)))
