"""Figure of the error budget."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement.pooled_budget import PooledBudget
from twinangle.plotting.alternatives import of_budgets
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    MM,
    add_panel,
    few_ticks,
    is_narrow,
    new_figure,
    type_scale,
)
from twinangle.plotting.onto import on_axes, several_of, size_mm
from twinangle.results import Pooled, StudyResults, named
from twinangle.wording import listing, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PARTS = {
    "offset": "offset",
    "range": "range",
    "timing": "timing",
    "shared": "pattern, range or timing",
    "pattern": "repeating pattern",
    "slow_drift": "slow drift",
    "cycle_offset": "offset of single cycles",
    "cycle_range": "range of single cycles",
    "cycle_timing": "timing of single cycles",
    "random": "rest, cycle to cycle",
}
# Dark to light teal: what repeats every cycle; violet: drift; greys: from cycle to cycle.
PART_COLOURS = (
    "#0b5e4f", "#12957d", "#5fc0ad", "#b5e3da", "#2b7f8c",
    "#5f3d7a", "#4d5660", "#7d8894", "#a9b1ba", "#bcc2c9",
)  # fmt: skip
# Beside the colour, so that any two parts differ in grey and whatever colours a reader sees.
PART_HATCHES = ("", "....", "xxxx", "", "////", "||||", "\\\\\\\\", "....", "xxxx", "----")
LETTER_MM = 1.55  # width of a letter, at most on average
TITLE_MM = 4.5
KEY_MM = 3.8  # height of a line of the key
SEEN = 0.01  # a part below this share of every bar's whole cannot be seen, and is not named


def draw_budgets(results: StudyResults, width_mm: float = DOUBLE_MM) -> Drawn | None:
    """Draw the parts of the mean squared difference, one stacked bar a procedure and condition."""
    rows = named(results.budget)
    if not rows:
        return None
    narrow = is_narrow(width_mm)
    visible = visible_parts([budget for _, budget in rows])
    left, bar, columns = (36.0, 9.0, 2) if narrow else (46.0, 7.0, 5)
    between = ",\n" if narrow else ", "
    labels = _labels([name for name, _ in rows], between)
    longest = max(len(line) for label in labels for line in label.splitlines())
    left = max(left, 4 + LETTER_MM * longest)
    key = 2.0 + KEY_MM * -(-len(visible) // columns)
    figure = new_figure(width_mm, 13 + key + bar * len(rows))
    axes = add_panel(figure, left, 9, width_mm - left - 5, 4 + bar * len(rows))
    plot_budget(results, axes, legend=False)
    axes.set_yticks(range(len(rows)), labels)
    few_ticks(axes, x=5 if narrow else 7, y=None)
    handles, names = axes.get_legend_handles_labels()
    figure.legend(
        handles=[h for h, name in zip(handles, names, strict=True) if name in visible],
        loc="upper left", bbox_to_anchor=(0.01, 1.0), ncols=columns, handlelength=1.0,
    )  # fmt: skip
    unseen = [name for name in PARTS.values() if name not in visible]
    small = (
        f" Not named, as below {SEEN:.0%} of the whole: {listing(unseen)}.".replace("%", " %")
        if unseen
        else ""
    )
    caption = (
        "Error budget: parts of the mean squared difference over all cycles, mean over "
        "participants; the parts add up to the whole. Green: what repeats every cycle; violet: a "
        f"level that drifts slowly; grey: what differs from cycle to cycle.{small}"
    )
    return Drawn("error_budget", figure, caption, of_budgets(rows, PARTS))


def plot_budget(
    result: StudyResults | Pooled[PooledBudget] | Sequence[Pooled[PooledBudget]],
    ax: Axes | None = None,
    *,
    legend: bool = True,
) -> Axes:
    """Draw the parts of the mean squared difference, a stacked bar a procedure and condition.

    Parameters
    ----------
    result : StudyResults, Pooled or sequence of Pooled
        A study, its budgets, or one of them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    legend : bool
        Whether the parts that can be seen are named, above the axes.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no budget is given.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_budget(results)
    """
    from matplotlib.transforms import ScaledTranslation

    found = several_of(result, "budget", PooledBudget)
    budgets = [budget for _, budget in found]
    with on_axes(ax, height_mm=34 + 9.0 * len(budgets)) as axes:
        _draw_stack(axes, budgets)
        names = [(row.procedure, row.condition, "") for row, _ in found]
        axes.set_yticks(range(len(budgets)), _labels(names, ", "))
        axes.set_xlabel("Mean squared difference (deg²)")
        few_ticks(axes, x=5, y=None)
        if legend:
            visible = visible_parts(budgets)
            bars = [bar for bar in axes.containers if bar.get_label() in visible]
            widest = 7.0 + LETTER_MM * type_scale() * max(map(len, visible), default=1)
            columns = max(1, min(3, int(size_mm(axes)[0] / widest)))
            inches = axes.get_figure(root=True).dpi_scale_trans  # type: ignore[union-attr]
            title = ScaledTranslation(0, TITLE_MM * type_scale() * MM, inches)  # room for one
            axes.legend(
                handles=bars, loc="lower left", bbox_to_anchor=(0, 1), ncols=columns,
                bbox_transform=axes.transAxes + title, handlelength=1.0,
            )  # fmt: skip
    return axes


def _labels(names: Sequence[tuple[str, str, str]], between: str) -> list[str]:
    """Return procedure and condition of each bar, in no more letters than there is room for.

    A short condition leaves its room to the procedure.
    """
    conditions = [shortened(condition, 14) for _, condition, _ in names]
    room = 36 - max(map(len, conditions), default=16)
    return [
        f"{shortened(name, room)}{between}{condition}"
        for (name, *_), condition in zip(names, conditions, strict=True)
    ]


def visible_parts(budgets: Sequence[PooledBudget]) -> tuple[str, ...]:
    """Return the names of the parts that can be seen in one of the bars."""
    return tuple(
        name
        for part, name in PARTS.items()
        if any(getattr(budget, part) >= SEEN * budget.total for budget in budgets)
    )


def _draw_stack(axes: Axes, budgets: Sequence[PooledBudget]) -> None:
    """Draw one horizontal bar a budget, a colour a part."""
    places, start = np.arange(len(budgets)), np.zeros(len(budgets))
    looks = zip(PARTS.items(), PART_COLOURS, PART_HATCHES, strict=True)
    for (part, name), colour, hatch in looks:
        width = np.array([getattr(budget, part) for budget in budgets])
        axes.barh(
            places, width, left=start, height=0.62, facecolor=colour, edgecolor="white",
            linewidth=0.5, hatch=hatch, label=name,
        )  # fmt: skip
        start = start + width
    axes.set_ylim(len(budgets) - 0.4, -0.6)
