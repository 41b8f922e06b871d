"""Figures of the participants at a glance: their numbers with intervals, and their mean curves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.plotting.alternatives import of_participants, of_small_multiples
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    INK,
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
from twinangle.plotting.thinning import side_by_side
from twinangle.results import StudyResults, TrialResult
from twinangle.results.answer import answer_of
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array
from twinangle.wording import SD_FREED, file_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LETTER_MM = 1.55  # width of a letter, at most on average
ROWS = 48  # of one figure
CELLS = 60
NARROW_CELLS = 15
CELL_GAP_MM = 3.0  # between two cells of a row


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
    step = 100 * width / (width - CELL_GAP_MM)
    for row in range(rows):
        shown = range(row * columns, min((row + 1) * columns, n))
        bottom, wide = 9 + (rows - 1 - row) * tall, len(shown) * width - CELL_GAP_MM
        below = add_panel(figure, 12, bottom, wide, lower)
        above = add_panel(figure, 12, bottom + lower + 1, wide, upper)
        starts: Array = step * np.arange(len(shown), dtype=np.float64)
        _draw_row(above, below, [trials[k] for k in shown], starts)
        _scale_row(above, below, heights, reach)
        _title_cells(above, starts, [names[first + k] for k in shown])
        _frame_cells(above, starts, [""] * 3 * len(shown))
        _frame_cells(below, starts, _numbers([k + columns >= n for k in shown], columns))
        above.set_ylabel(f"{joint_named(results.joint).label.split()[-1].capitalize()} (°)")
        below.set_ylabel("Diff. (°)")
    below.set_xlabel("Cycle (%)", x=50 / below.get_xlim()[1])  # of the first cell
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


def _draw_row(above: Axes, below: Axes, trials: Sequence[TrialResult], starts: Array) -> None:
    """Draw a row of cells on two pairs of axes: a pair for each cell costs many times as much."""
    found = [trial.agreement for trial in trials if trial.agreement is not None]
    wearable, reference = (
        [each.test_mean for each in found],
        [each.reference_mean for each in found],
    )
    off = [one - other for one, other in zip(wearable, reference, strict=True)]
    zeros = [np.zeros(2)] * len(found)
    for axes, curves, colour, width, dash in (
        (above, wearable, WEARABLE, 1.0, "solid"),
        (above, reference, REFERENCE, 0.9, REFERENCE_DASH),
        (below, zeros, FAINT, 0.5, LIMIT_DASH),
        (below, off, INK, 0.8, "solid"),
    ):
        (line,) = axes.plot(
            *side_by_side(curves, starts), color=colour, linewidth=width, linestyle=dash,
            solid_capstyle="butt", clip_on=False,
        )  # fmt: skip
        line.get_path().should_simplify = False  # nor clipped: each is short, and within its cell
    for axes in (above, below):
        axes.set_xlim(0, starts[-1] + 100)


def _scale_row(above: Axes, below: Axes, heights: tuple[float, float], reach: float) -> None:
    """Give a row the heights that all share."""
    above.set_ylim(heights)
    below.set_ylim(-reach, reach)
    few_ticks(above, x=None, y=3)
    below.set_yticks([-_round(reach), 0.0, _round(reach)])


def _title_cells(axes: Axes, starts: Array, names: Sequence[str]) -> None:
    """Write a name above each cell, where the title of a panel stands."""
    import matplotlib as mpl
    from matplotlib.transforms import ScaledTranslation

    inches = axes.get_figure(root=True).dpi_scale_trans  # type: ignore[union-attr]
    pad, size = mpl.rcParams["axes.titlepad"], mpl.rcParams["axes.titlesize"]
    raised = axes.get_xaxis_transform() + ScaledTranslation(0, pad / 72, inches)
    for start, name in zip(starts, names, strict=True):
        axes.text(start, 1, name, transform=raised, fontsize=size)


def _frame_cells(axes: Axes, starts: Array, numbers: Sequence[str]) -> None:
    """Draw each cell's own lines below and to the left, and its marks, with numbers below."""
    from matplotlib.markers import TICKLEFT

    for spine in axes.spines.values():
        spine.set_visible(False)
    x = (starts[:, np.newaxis] + [0.0, 0.0, 100.0, np.nan]).ravel()
    axes.plot(
        x, np.tile([1.0, 0.0, 0.0, np.nan], starts.size), transform=axes.get_xaxis_transform(),
        color=INK, linewidth=0.5, solid_capstyle="projecting", solid_joinstyle="miter",
        clip_on=False, zorder=2.5,
    )  # fmt: skip
    low, high = axes.get_ylim()
    places = [place for place in axes.get_yticks() if low <= place <= high]
    axes.plot(
        np.repeat(starts[1:], len(places)), places * (starts.size - 1), linestyle="",
        marker=TICKLEFT, color=INK, markersize=2.5, markeredgewidth=0.5, clip_on=False, zorder=1.5,
    )  # fmt: skip
    axes.set_xticks((starts[:, np.newaxis] + [0.0, 50.0, 100.0]).ravel(), numbers)


def _numbers(lowest: Sequence[bool], columns: int) -> list[str]:
    """Return the scale's numbers of each cell that has none below it."""
    words: list[str] = []
    for k, is_lowest in enumerate(lowest):
        end = "100" if k == columns - 1 else ""  # the next cell's 0 stands there
        words += ["0", "50", end] if is_lowest else [""] * 3
    return words


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
