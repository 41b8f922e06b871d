"""Figure of the conditions: SD of each participant, paired differences and ratios."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from twinangle.agreement.conditions import ConditionDifference
from twinangle.plotting.alternatives import of_conditions
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
    participant_marker,
    spread_out,
)
from twinangle.results import StudyResults, named
from twinangle.results.grouping import conditions, participants, procedures
from twinangle.wording import shortened

NAMED_PARTICIPANTS = 12  # more than this and no name stands beside the marks


def draw_conditions(results: StudyResults, width_mm: float = DOUBLE_MM) -> Drawn | None:
    """Draw per-cycle SD by condition for each participant, differences and ratios."""
    rows = [
        (procedure, item)
        for (procedure, _, quantity), item in named(results.conditions)
        if quantity == "wearable_sd_deg"
    ]
    if not rows:
        return None
    figure, paired, forests, height = _panels(width_mm, len(rows))
    _draw_paired(paired, results, height)
    letter(paired, "a Wearable's per-cycle SD")
    paired.set_ylabel("SD over cycles (°)")
    said = (
        ("difference", "b Difference", "Difference of SD (°)"),
        ("ratio", "c Ratio", "Ratio of SD"),
    )
    for axes, (what, title, label) in zip(forests, said, strict=True):
        letters = (18, 8) if is_narrow(width_mm) else (22, 11)
        _draw_forest(axes, rows, what, letters if what == "difference" else None)
        letter(axes, title)
        axes.set_xlabel(label)
    first = procedures(results)[0]
    caption = (
        f"(a) The wearable's per-cycle SD by condition, {first}: one mark a trial, lines join a "
        f"participant's. (b, c) Paired difference and ratio over participants with "
        f"{results.options.level} intervals; dashed: no difference."
    )
    return Drawn("conditions", figure, caption, of_conditions(rows))


def _panels(width_mm: float, n_rows: int) -> tuple[Figure, Axes, tuple[Axes, Axes], float]:
    """Return the figure, the panel of people, those of the comparisons, and the first's height."""
    if is_narrow(width_mm):
        low = max(14.0, 8.0 * n_rows)
        figure = new_figure(width_mm, low + 69)
        paired = add_panel(figure, 13, low + 19, width_mm - 27, 44)
        each = (width_mm - 38) / 2
        forests = [add_panel(figure, left, 9, each, low) for left in (29.0, 34.0 + each)]
        return figure, paired, (forests[0], forests[1]), 44.0
    figure = new_figure(width_mm, max(50, 18 + 8 * n_rows))
    height = max(50, 18 + 8 * n_rows) - 17.0
    each = (width_mm - 112) / 2
    paired = add_panel(figure, 13, 9, width_mm - 134, height)
    forests = [
        add_panel(figure, left, 9, each, height)
        for left in (width_mm - 75.0, width_mm - 2.0 - each)
    ]
    return figure, paired, (forests[0], forests[1]), height


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
    axes: Axes,
    rows: Sequence[tuple[str, ConditionDifference]],
    what: str,
    letters: tuple[int, int] | None,
) -> None:
    """Draw one number of each comparison with its interval, a row each.

    `letters` are those of a procedure's and a condition's name at most; None for rows that are
    named further left.
    """
    for k, (_, row) in enumerate(rows):
        value, ends = getattr(row, what), getattr(row, f"{what}_ci")
        if np.isfinite(value):
            axes.plot([value], [k], "o", color=INK)
        if np.isfinite(ends).all():
            axes.plot(ends, [k, k], color=INK, linewidth=1.0)
    none = 0.0 if what == "difference" else 1.0
    axes.axvline(none, color=FAINT, linewidth=0.6, linestyle=LIMIT_DASH)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    labels = [""] * len(rows)
    if letters is not None:
        most, each = letters
        labels = [
            f"{shortened(name, most)}\n{shortened(row.condition, each)} − "
            f"{shortened(row.against, each)}"
            for name, row in rows
        ]
    axes.set_yticks(range(len(rows)), labels)
    few_ticks(axes, x=4, y=None)
