"""Figure of the conditions: SD of each participant, paired differences and ratios."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np

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
    type_scale,
)
from twinangle.plotting.onto import on_axes, one_of, several_of, size_mm, study_of
from twinangle.results import Pooled, StudyResults, named
from twinangle.results.grouping import conditions, participants, procedures
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import quantity_name, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
    figure, paired, (differences, ratios) = _panels(width_mm, len(rows))
    letter(plot_condition_sds(results, paired), "a Wearable's per-cycle SD")
    plot_condition_differences(results, differences)
    plot_condition_differences(results, ratios, number="ratio")
    names = _row_names(rows, (18, 8) if is_narrow(width_mm) else (22, 11))
    differences.set_yticks(range(len(rows)), names)
    ratios.set_yticks(range(len(rows)), [""] * len(rows))  # named further left
    letter(differences, "b Difference")
    letter(ratios, "c Ratio")
    first = procedures(results)[0]
    caption = (
        f"(a) The wearable's per-cycle SD by condition, {first}: one mark a trial, lines join a "
        f"participant's. (b, c) Paired difference and ratio over participants with "
        f"{results.options.level} intervals; dashed: no difference."
    )
    return Drawn("conditions", figure, caption, of_conditions(rows))


def plot_condition_sds(
    results: StudyResults, ax: Axes | None = None, *, procedure: str | None = None
) -> Axes:
    """Draw the wearable's SD over cycles by condition: a mark a trial, a line a participant.

    Parameters
    ----------
    results : StudyResults
        A study.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    procedure : str, optional
        Whose angle; without it, the first of the study.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If there is no such procedure, or no trial of it has an SD.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_condition_sds(results)
    """
    study = study_of(results)
    known = procedures(study)
    main = one_of(procedure or known[0], known, "procedure")
    if not any(t.procedure == main and t.wearable_variability for t in study.trials):
        raise ValueError(f"There is nothing to draw: no trial under {main} has an SD over cycles.")
    with on_axes(ax) as axes:
        _draw_paired(axes, study, main, size_mm(axes)[1])
        axes.set_ylabel("SD over cycles (°)")  # conditions name themselves
    return axes


def plot_condition_differences(
    result: StudyResults | Pooled[ConditionDifference] | Sequence[Pooled[ConditionDifference]],
    ax: Axes | None = None,
    *,
    number: Literal["difference", "ratio"] = "difference",
    quantity: str = "wearable_sd_deg",
) -> Axes:
    """Draw each comparison of two conditions with its interval, paired over participants.

    The dashed line is where conditions do not differ.

    Parameters
    ----------
    result : StudyResults, Pooled or sequence of Pooled
        A study, its comparisons, or one of them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    number : {"difference", "ratio"}
        What is drawn of a comparison.
    quantity : str
        What was compared, as the comparisons name it: those of other quantities are left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no comparison of that quantity is given.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_condition_differences(results, number='ratio')
    """
    found = several_of(result, "conditions", ConditionDifference)
    known = tuple(dict.fromkeys(row.quantity for row, _ in found))
    one_of(quantity, known, "quantity")
    rows = [(row.procedure, value) for row, value in found if row.quantity == quantity]
    one_of(number, ("difference", "ratio"), "number")
    with on_axes(ax, height_mm=20 + 12.0 * len(rows)) as axes:
        _draw_forest(axes, rows, number)
        axes.set_yticks(range(len(rows)), _row_names(rows, (22, 11)))
        axes.set_xlabel(_forest_label(quantity, number))
    return axes


def _forest_label(quantity: str, number: str) -> str:
    """Return the label of what is drawn of a comparison."""
    name = "SD" if quantity == "wearable_sd_deg" else quantity_name(quantity)
    return f"{number.capitalize()} of {name}{' (°)' if number == 'difference' else ''}"


def _row_names(
    rows: Sequence[tuple[str, ConditionDifference]], letters: tuple[int, int]
) -> list[str]:
    """Return a comparison's name, at most so many letters of a procedure and a condition."""
    most, each = letters
    if len({reference_of(name) for name, _ in rows}) == 1:  # which the page names
        rows = [(under_test(wearable_of(name), procedure_of(name)), row) for name, row in rows]
    return [
        f"{shortened(name, most)}\n{shortened(row.condition, each)} − "
        f"{shortened(row.against, each)}"
        for name, row in rows
    ]


def _panels(width_mm: float, n_rows: int) -> tuple[Figure, Axes, tuple[Axes, Axes]]:
    """Return the figure, the panel of people, and those of the comparisons."""
    if is_narrow(width_mm):
        low = max(14.0, 8.0 * n_rows)
        figure = new_figure(width_mm, low + 69)
        paired = add_panel(figure, 13, low + 19, width_mm - 27, 44)
        each = (width_mm - 38) / 2
        forests = [add_panel(figure, left, 9, each, low) for left in (29.0, 34.0 + each)]
        return figure, paired, (forests[0], forests[1])
    figure = new_figure(width_mm, max(50, 18 + 8 * n_rows))
    height = max(50, 18 + 8 * n_rows) - 17.0
    each = (width_mm - 112) / 2
    paired = add_panel(figure, 13, 9, width_mm - 134, height)
    forests = [
        add_panel(figure, left, 9, each, height)
        for left in (width_mm - 75.0, width_mm - 2.0 - each)
    ]
    return figure, paired, (forests[0], forests[1])


def _draw_paired(axes: Axes, results: StudyResults, main: str, height: float) -> None:
    """Draw each participant's SDs, joined over the conditions, for one procedure."""
    columns, everyone = conditions(results), participants(results)
    last: dict[str, float] = {}
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
    axes.set_xlim(-0.4, len(columns) - 0.6 + _more_for(list(last), len(columns), axes))
    if len(last) <= NAMED_PARTICIPANTS:
        _name_at_the_end(axes, last, len(columns) - 1, height)
    limit = max(6, 40 // len(columns))
    axes.set_xticks(range(len(columns)), [shortened(name or "–", limit) for name in columns])
    few_ticks(axes, x=None, y=5)


def _more_for(names: Sequence[str], n_columns: int, axes: Axes) -> float:
    """Return how much farther the axis must reach for names in larger type than the report's.

    The report's panels leave room beside them; elsewhere the axes may end at the figure's edge.
    """
    if type_scale() < 1.01 or not names or len(names) > NAMED_PARTICIPANTS:
        return 0.0
    wide = size_mm(axes)[0]
    need = min(max(len(shortened(name, 8)) for name in names) * 1.4 * type_scale(), 0.4 * wide)
    reach = (need * (n_columns - 0.6) + 0.12 * wide) / (wide - need)
    return max(reach - 0.4, 0.0)


def _name_at_the_end(axes: Axes, last: Mapping[str, float], column: int, height: float) -> None:
    """Write the participants' names beside their last marks, clear of each other."""
    bottom, top = axes.get_ylim()
    places = spread_out(list(last.values()), 2.9 * type_scale() / height * (top - bottom))
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
    few_ticks(axes, x=4, y=None)
