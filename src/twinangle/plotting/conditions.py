"""Figure of the conditions: SD of each participant, paired differences and ratios."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.conditions import ConditionDifference
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    REFERENCE,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
    participant_style,
)
from twinangle.results import StudyResults, named
from twinangle.results.grouping import conditions, participants, procedures
from twinangle.wording import shortened


def draw_conditions(results: StudyResults) -> Drawn | None:
    """Draw per-cycle SD by condition for each participant, differences and ratios."""
    rows = [
        (procedure, item)
        for (procedure, _, quantity), item in named(results.conditions)
        if quantity == "wearable_sd_deg"
    ]
    if not rows:
        return None
    figure = new_figure(DOUBLE_MM, max(50, 18 + 8 * len(rows)))
    height = figure.get_size_inches()[1] * 25.4 - 17
    paired = add_panel(figure, 13, 9, 52, height)
    _draw_paired(paired, results)
    letter(paired, "a Wearable's per-cycle SD")
    paired.set_ylabel("SD over cycles (°)")
    for left, what, title, label in (
        (103.0, "difference", "b Difference", "Difference of SD (°)"),
        (143.0, "ratio", "c Ratio", "Ratio of SD"),
    ):
        axes = add_panel(figure, left, 9, 33, height)
        _draw_forest(axes, rows, what, named=what == "difference")
        letter(axes, title)
        axes.set_xlabel(label)
    first = procedures(results)[0]
    caption = (
        f"(a) The wearable's per-cycle SD by condition, {first}: one mark a trial, lines join a "
        f"participant's. (b, c) Paired difference and ratio over participants with "
        f"{results.options.level} intervals."
    )
    return Drawn("conditions", figure, caption, "Per-cycle SD by condition.")


def _draw_paired(axes: Axes, results: StudyResults) -> None:
    """Draw each participant's SDs, joined over the conditions, for the main procedure."""
    columns, everyone = conditions(results), participants(results)
    main = procedures(results)[0]
    for code in everyone:
        points = [
            (columns.index(trial.condition), trial.wearable_variability.sd)
            for trial in results.trials
            if trial.participant == code
            and trial.procedure == main
            and trial.wearable_variability is not None
        ]
        if points:
            colour, marker = participant_style(code, everyone)
            x, y = zip(*sorted(points), strict=True)
            axes.plot(x, y, color=colour, marker=marker, linewidth=0.7, label=code)
    axes.set_xlim(-0.4, len(columns) - 0.6)
    axes.set_ylim(bottom=0)
    limit = max(6, 40 // len(columns))
    axes.set_xticks(range(len(columns)), [shortened(name or "–", limit) for name in columns])
    few_ticks(axes, x=None, y=5)


def _draw_forest(
    axes: Axes, rows: Sequence[tuple[str, ConditionDifference]], what: str, *, named: bool
) -> None:
    """Draw one number of each comparison with its interval, a row each."""
    for k, (_, row) in enumerate(rows):
        value, ends = getattr(row, what), getattr(row, f"{what}_ci")
        if np.isfinite(value):
            axes.plot([value], [k], "o", color=WEARABLE)
        if np.isfinite(ends).all():
            axes.plot(ends, [k, k], color=WEARABLE, linewidth=1.0)
    none = 0.0 if what == "difference" else 1.0
    axes.axvline(none, color=REFERENCE, linewidth=0.6, linestyle=(0, (3, 1.5)))
    axes.set_ylim(len(rows) - 0.4, -0.6)
    labels = [
        f"{shortened(name, 16)}\n{shortened(row.condition, 14)} − {shortened(row.against, 14)}"
        for name, row in rows
    ]
    axes.set_yticks(range(len(rows)), labels if named else [""] * len(rows))
    few_ticks(axes, x=4, y=None)
