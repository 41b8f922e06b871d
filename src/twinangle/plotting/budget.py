"""Figure of the error budget."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.budget import PooledBudget
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import DOUBLE_MM, add_panel, few_ticks, new_figure
from twinangle.results import StudyResults, named
from twinangle.wording import shortened

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
PART_COLOURS = (
    "#17508f", "#4f9bd9", "#dd8316", "#eec78e", "#c79a10",
    "#5a6b7b", "#8fa0b0", "#b7a5cf", "#8d6fb0", "#d5d8dc",
)  # fmt: skip


def draw_budgets(results: StudyResults) -> Drawn | None:
    """Draw the parts of the mean squared difference, one stacked bar a procedure and condition."""
    rows = named(results.budget)
    if not rows:
        return None
    figure = new_figure(DOUBLE_MM, 26 + 7 * len(rows))
    axes = add_panel(figure, 40, 9, 132, 4 + 7 * len(rows))
    _draw_stack(axes, [budget for _, budget in rows])
    labels = [
        f"{shortened(name, 14)}, {shortened(condition, 14)}" for (name, condition, _), _ in rows
    ]
    axes.set_yticks(range(len(rows)), labels)
    axes.set_xlabel("Mean squared difference (deg²)")
    few_ticks(axes, x=7, y=None)
    figure.legend(
        handles=axes.get_legend_handles_labels()[0],
        loc="upper left", bbox_to_anchor=(0.01, 1.0), ncols=len(PARTS) // 2, handlelength=1.0,
    )  # fmt: skip
    caption = (
        "Error budget: parts of the mean squared difference over all cycles, mean over "
        "participants; the parts add up to the whole. Blue to yellow: what repeats every cycle; "
        "the light one fits a difference of range or a delay only in part of the cycle. Grey and "
        "violet: what differs from cycle to cycle."
    )
    return Drawn("error_budget", figure, caption, "Parts of the mean squared difference.")


def _draw_stack(axes: Axes, budgets: Sequence[PooledBudget]) -> None:
    """Draw one horizontal bar a budget, a colour a part."""
    places, start = np.arange(len(budgets)), np.zeros(len(budgets))
    for (part, name), colour in zip(PARTS.items(), PART_COLOURS, strict=True):
        width = np.array([getattr(budget, part) for budget in budgets])
        axes.barh(
            places, width, left=start, height=0.62, color=colour, edgecolor="white", linewidth=0.5,
            label=name,
        )  # fmt: skip
        start = start + width
    axes.set_ylim(len(budgets) - 0.4, -0.6)
