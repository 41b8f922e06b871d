"""Figure of the conditions: SD of each participant, paired differences and ratios."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.conditions import ConditionDifference
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
    participant_marker,
    spread_out,
)
from twinangle.results import StudyResults, named
from twinangle.results.grouping import conditions, participants, procedures
from twinangle.wording import shortened

NAMED_PARTICIPANTS = 12  # more than this and no name stands beside the marks


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
    paired = add_panel(figure, 13, 9, 44, height)
    _draw_paired(paired, results, height)
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
        f"{results.options.level} intervals; dashed: no difference."
    )
    return Drawn("conditions", figure, caption, "Per-cycle SD by condition.")


def _draw_paired(axes: Axes, results: StudyResults, height: float) -> None:
    """Draw each participant's SDs, joined over the conditions, for the main procedure."""
    columns, everyone = conditions(results), participants(results)
    main, last = procedures(results)[0], dict[str, float]()
    for code in everyone:
        points = [
            (columns.index(trial.condition), trial.wearable_variability.sd)
            for trial in results.trials
            if trial.participant == code
            and trial.procedure == main
            and trial.wearable_variability is not None
        ]
        if points:
            x, y = zip(*sorted(points), strict=True)
            marker = participant_marker(code, everyone)
            axes.plot(x, y, color=FAINT, marker=marker, markerfacecolor=WEARABLE,
                      markeredgecolor=WEARABLE, linewidth=0.7, label=code)  # fmt: skip
            if x[-1] == len(columns) - 1:
                last[code] = y[-1]
    axes.set_xlim(-0.4, len(columns) - 0.6)
    if len(last) <= NAMED_PARTICIPANTS:
        _name_at_the_end(axes, last, len(columns) - 1, height)
    limit = max(6, 40 // len(columns))
    axes.set_xticks(range(len(columns)), [shortened(name or "–", limit) for name in columns])
    few_ticks(axes, x=None, y=5)


def _name_at_the_end(axes: Axes, last: Mapping[str, float], column: int, height: float) -> None:
    """Write the participants' names beside their last marks, clear of each other."""
    bottom, top = axes.get_ylim()
    places = spread_out(list(last.values()), 2.9 / height * (top - bottom))
    above = max(0.0, max(places) - top)
    for code, place in zip(last, places, strict=True):
        axes.plot(
            [column, column + 0.1], [last[code], place - above], color=FAINT, linewidth=0.5,
            clip_on=False,
        )  # fmt: skip
        axes.text(column + 0.12, place - above, shortened(code, 8), va="center")


def _draw_forest(
    axes: Axes, rows: Sequence[tuple[str, ConditionDifference]], what: str, *, named: bool
) -> None:
    """Draw one number of each comparison with its interval, a row each."""
    for k, (_, row) in enumerate(rows):
        value, ends = getattr(row, what), getattr(row, f"{what}_ci")
        if np.isfinite(value):
            axes.plot([value], [k], "o", color=INK)
        if np.isfinite(ends).all():
            axes.plot(ends, [k, k], color=INK, linewidth=1.0)
    none = 0.0 if what == "difference" else 1.0
    axes.axvline(none, color=FAINT, linewidth=0.6, linestyle=LIMIT_DASH)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    labels = [
        f"{shortened(name, 22)}\n{shortened(row.condition, 11)} − {shortened(row.against, 11)}"
        for name, row in rows
    ]
    axes.set_yticks(range(len(rows)), labels if named else [""] * len(rows))
    few_ticks(axes, x=4, y=None)
