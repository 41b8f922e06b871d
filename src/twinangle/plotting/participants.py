"""Figures of the participants at a glance: their numbers with intervals, and their mean curves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.plotting.alternatives import of_participants, of_small_multiples
from twinangle.plotting.curves import plot_mean_curves, plot_mean_difference
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    LIMIT_DASH,
    REFERENCE,
    REFERENCE_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.plotting.recording_rows import (
    BOTH_INSTRUMENTS,
    BOTH_OFFSETS,
    ROW_MM,
    Rows,
    handles_of,
    plot_offsets,
    plot_rms,
    plot_sds,
    recordings_of,
    row_names,
    rows_of,
)
from twinangle.results import StudyResults, TrialResult
from twinangle.results.answer import answer_of
from twinangle.signals.joint import joint_named
from twinangle.wording import SD_FREED, file_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LETTER_MM = 1.55  # width of a letter, at most on average
ROWS = 48  # of one figure
CELLS = 60
NARROW_CELLS = 15


def draw_participants(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return a row a recording with its numbers and intervals, main procedure.

    With a reference: offset as recorded and zeroed, RMS of the demeaned curves, both instruments'
    per-cycle SD, and the means over participants at the foot. Without one: the wearable's SD.
    """
    trials = recordings_of(results)
    paired = [trial for trial in trials if trial.agreement is not None]
    shown = paired or trials
    parts = [shown[k : k + ROWS] for k in range(0, len(shown), ROWS)]
    return tuple(
        _draw_rows(results, part, k, width_mm, last=k == len(parts) - 1)
        for k, part in enumerate(parts)
    )


def _draw_rows(
    results: StudyResults,
    trials: Sequence[TrialResult],
    part: int,
    width_mm: float,
    *,
    last: bool,
) -> Drawn:
    """Draw one figure of rows; the means over participants stand below the last of them."""
    paired = trials[0].agreement is not None
    rows = rows_of(results, trials, means=last, paired=paired)
    height = ROW_MM * rows.n + 2
    narrow = is_narrow(width_mm)
    figure = new_figure(width_mm, height + (22 if narrow else 19))
    longest = max(map(len, rows.names))
    lefts, width = _columns(width_mm, longest) if paired else ([36.0], min(90.0, width_mm - 41))
    panels = [add_panel(figure, left, 9, width, height) for left in lefts]
    sds = plot_sds(results, panels[-1], trials=trials, means=last, legend=False)
    if paired:
        plot_offsets(results, panels[0], trials=trials, means=last, legend=False)
        plot_rms(results, panels[1], trials=trials, means=last)
        panels[1].set_xlabel("RMS (°)")
        letter(panels[0], "a Offset")
        letter(panels[1], "b RMS" if narrow else "b RMS, demeaned")
        letter(sds, "c SD" if narrow else "c Per-cycle SD")
    else:
        sds.set_title("Per-cycle SD")
    for axes in panels[1:]:
        axes.set_yticks(range(rows.n), [""] * rows.n)
    for axes in panels:
        few_ticks(axes, x=2 if narrow else 5, y=None)
    _key(figure, panels, rows, 1 if narrow else 2)
    name = "participants" if part == 0 else f"participants-{part + 1}"
    caption = _caption(results, trials, bool(rows.means))
    return Drawn(name, figure, caption, of_participants(trials))


def _columns(width_mm: float, letters: int) -> tuple[list[float], float]:
    """Return where three panels begin behind the names, and their width."""
    names, gap = (20.0, 6.0) if is_narrow(width_mm) else (29.0, 8.0)
    names = max(names, 4 + LETTER_MM * letters)
    width = (width_mm - names - 2 * gap - 4) / 3
    return [names + k * (width + gap) for k in range(3)], width


def _key(figure: Figure, panels: Sequence[Axes], rows: Rows, columns: int) -> None:
    """Name the marks above the panels they stand in."""
    there = ((rows.zeroed, panels[0], BOTH_OFFSETS), (rows.both, panels[-1], BOTH_INSTRUMENTS))
    for is_there, axes, marks in there:
        if is_there:
            figure.legend(
                handles=handles_of(marks), loc="upper left", ncols=columns,
                bbox_to_anchor=(axes.get_position().x0, 1.0),
                handletextpad=0.0, columnspacing=0.8,
            )  # fmt: skip


def _caption(results: StudyResults, trials: Sequence[TrialResult], pooled: bool) -> str:
    """Say what the rows are."""
    main, level = answer_of(results).procedure, results.options.level
    own = (
        f"bars: {level} intervals over a recording's own cycles, which say nothing of others, nor "
        "of what is the same in all its cycles, such as a sensor's bias or how it was placed"
    )
    if trials[0].agreement is None:
        return f"Every recording, {main}: the wearable's SD over cycles; {own}."
    zeroed = any(np.isfinite(trial.offset_zeroed_deg) for trial in trials)
    said = "(a) offset of the mean curves (wearable − reference)"
    said += ", as recorded and with both zeroed at neutral standing" if zeroed else ""
    foot = (
        f" At the foot: means over participants, {level} intervals over participants; an SD there "
        f"is {SD_FREED}."
        if pooled
        else ""
    )
    return (
        f"Every recording with a reference, {main}: {said}, (b) RMS of the demeaned mean curves, "
        f"(c) SD over cycles of both instruments; {own}.{foot}"
    )


def draw_small_multiples(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return both mean curves and their difference of every recording, on shared scales."""
    shown = [trial for trial in recordings_of(results) if trial.agreement is not None]
    most = NARROW_CELLS if is_narrow(width_mm) else CELLS
    parts = [shown[k : k + most] for k in range(0, len(shown), most)]
    return tuple(_draw_grid(results, part, k, shown, width_mm) for k, part in enumerate(parts))


def _draw_grid(
    results: StudyResults,
    trials: Sequence[TrialResult],
    part: int,
    everyone: Sequence[TrialResult],
    width_mm: float,
) -> Drawn:
    """Draw one figure of cells: curves above, difference below."""
    n = len(trials)
    columns = next((c for c in (3, 4, 6, 8) if n <= c or (c > 4 and n <= 3 * c)), 10)
    columns = 3 if is_narrow(width_mm) else columns
    rows = -(-n // columns)
    upper, lower = (20.0, 12.0) if rows <= 2 else (16.0, 12.0)
    tall = upper + lower + 6.5
    width = (width_mm - 14.0) / columns
    figure = new_figure(width_mm, rows * tall + 8.5)
    heights, reach = _shared(everyone)
    names = row_names(results, everyone)
    first = everyone.index(trials[0])
    for k, trial in enumerate(trials):
        row, column = divmod(k, columns)
        left = 12 + column * width
        bottom = 9 + (rows - 1 - row) * tall
        below = add_panel(figure, left, bottom, width - 3, lower)
        above = add_panel(figure, left, bottom + lower + 1, width - 3, upper)
        _draw_cell(above, below, trial, heights, reach)
        above.set_title(names[first + k])
        above.tick_params(labelbottom=False, labelleft=column == 0)
        below.tick_params(labelleft=column == 0, labelbottom=row == rows - 1 or k + columns >= n)
        end = "100" if column == columns - 1 else ""  # the next cell's 0 stands there
        below.set_xticks((0, 50, 100), ("0", "50", end))
        if column == 0:
            above.set_ylabel(f"{joint_named(results.joint).label.split()[-1].capitalize()} (°)")
            below.set_ylabel("Diff. (°)")
    last = figure.axes[2 * (rows - 1) * columns]
    last.set_xlabel("Cycle (%)")
    _grid_legend(figure)
    name = file_name("mean-curves", "" if part == 0 else str(part + 1))
    caption = (
        "Mean curves of every recording with a reference, main procedure, on the same scales: "
        "above, both instruments; below, wearable − reference."
    )
    return Drawn(name, figure, caption, of_small_multiples(trials))


def _shared(trials: Sequence[TrialResult]) -> tuple[tuple[float, float], float]:
    """Return the heights of all cells, and how far the differences reach."""
    known = [trial.agreement for trial in trials if trial.agreement is not None]
    curves = [curve for each in known for curve in (each.test_mean, each.reference_mean)]
    low, high = min(map(np.min, curves)), max(map(np.max, curves))
    pad = 0.06 * (high - low) or 1.0
    reach = max(float(np.abs(each.test_mean - each.reference_mean).max()) for each in known)
    return (float(low - pad), float(high + pad)), 1.1 * reach or 1.0


def _draw_cell(
    above: Axes, below: Axes, trial: TrialResult, heights: tuple[float, float], reach: float
) -> None:
    """Draw one recording's mean curves, and their difference."""
    plot_mean_curves(trial, above, sd=False, legend=False)
    plot_mean_difference(trial, below)
    zero, difference = below.get_lines()
    zero.set(color=FAINT, linestyle=LIMIT_DASH)
    for line, width in zip((*above.get_lines(), difference), (1.0, 0.9, 0.8), strict=True):
        line.set_linewidth(width)  # cells are small
    for axes in (above, below):
        axes.set(xlabel="", ylabel="")
    above.set_ylim(heights)
    below.set_ylim(-reach, reach)
    few_ticks(above, x=None, y=3)
    below.set_yticks([-_round(reach), 0.0, _round(reach)])
    above.set_xticks((0, 50, 100))


_ROUND = (1, 1.5, 2, 3, 4, 5, 6, 8)


def _round(reach: float) -> float:
    """Return the largest round number that lies well within the reach, apart from the zero."""
    power = 10.0 ** np.floor(np.log10(0.8 * reach))
    return float(power * max(step for step in _ROUND if step * power <= 0.8 * reach))


def _grid_legend(figure: Figure) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], color=WEARABLE, label="wearable"),
        Line2D([], [], color=REFERENCE, linestyle=REFERENCE_DASH, label="reference"),
    ]
    figure.legend(handles=handles, loc="lower right", ncols=2, bbox_to_anchor=(0.99, 0.0))
