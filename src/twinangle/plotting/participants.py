"""Figures of the participants at a glance: their numbers with intervals, and their mean curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from twinangle.agreement.pooled_curves import PooledCurves
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
    Dash,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.results import StudyResults, TrialResult, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import Naming
from twinangle.signals.joint import joint_named
from twinangle.wording import file_name, shortened

ROW_MM = 3.5
LETTER_MM = 1.55  # width of a letter, at most on average
ROWS = 48  # of one figure
CELLS = 60
NARROW_CELLS = 15
_WIDEST = 5.0  # intervals are drawn to so many times the largest number beside the numbers
Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Mark:
    """How one number of a row is drawn."""

    colour: str = INK
    marker: str = "o"
    hollow: bool = False
    shift: float = 0.0  # in rows, so that two marks of a row stand clear
    dash: Dash | str = "solid"


PLAIN = _Mark()
AS_RECORDED, ZEROED = _Mark(shift=-0.16), _Mark(marker="s", hollow=True, shift=0.16, colour=FAINT)
OF_WEARABLE = _Mark(colour=WEARABLE, shift=-0.16)
OF_REFERENCE = _Mark(colour=REFERENCE, marker="s", hollow=True, shift=0.16)


def draw_participants(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return a row a recording with its numbers and intervals, main procedure.

    With a reference: offset as recorded and zeroed, RMS of the demeaned curves, both instruments'
    per-cycle SD, and the means over participants at the foot. Without one: the wearable's SD.
    """
    trials = _trials(results)
    paired = [trial for trial in trials if trial.agreement is not None]
    shown = paired or trials
    parts = [shown[k : k + ROWS] for k in range(0, len(shown), ROWS)]
    return tuple(
        _draw_rows(results, part, k, width_mm, last=k == len(parts) - 1)
        for k, part in enumerate(parts)
    )


def _trials(results: StudyResults) -> list[TrialResult]:
    """Return the main procedure's results, a recording each."""
    main = answer_of(results).procedure
    return [t for t in results.trials if t.procedure == main and t.status == "ok"]


def row_names(results: StudyResults, trials: Sequence[TrialResult]) -> list[str]:
    """Return a name a recording, with no more than tells them apart."""
    naming = Naming(results)
    people = [trial.participant for trial in trials]
    if len(set(people)) == len(people):
        return [shortened(code, 16) for code in people]
    several = len({trial.condition for trial in trials}) > 1
    return [
        shortened(f"{shortened(t.participant, 10)} "
                  f"{naming.heading(t) if several else naming.recording(t)}", 20)
        for t in trials
    ]  # fmt: skip


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
    pooled = _pooled(results) if paired and last else []
    rows = len(trials) + len(pooled)
    height = ROW_MM * rows + 2
    narrow = is_narrow(width_mm)
    figure = new_figure(width_mm, height + (22 if narrow else 19))
    labels = [*row_names(results, trials), *(name for name, _ in pooled)]
    longest = max(map(len, labels))
    lefts, width = _columns(width_mm, longest) if paired else ([36.0], min(90.0, width_mm - 41))
    panels = [add_panel(figure, left, 9, width, height) for left in lefts]
    for axes in panels:
        axes.set_ylim(rows - 0.4, -0.6)
        axes.set_yticks(range(rows), labels if axes is panels[0] else [""] * rows)
        if pooled and len(trials) > 1:
            axes.axhline(len(trials) - 0.5, color=FAINT, linewidth=0.5)
    if paired:
        _fill_paired(panels, trials, [curves for _, curves in pooled], results, narrow=narrow)
    else:
        _fill_sd(panels[0], trials, "")
    for axes in panels:
        _keep_numbers_in_view(axes)
        few_ticks(axes, x=2 if narrow else 5, y=None)
    _key(figure, panels, trials, 1 if narrow else 2)
    name = "participants" if part == 0 else f"participants-{part + 1}"
    return Drawn(name, figure, _caption(results, trials, bool(pooled)), of_participants(trials))


def _columns(width_mm: float, letters: int) -> tuple[list[float], float]:
    """Return where three panels begin behind the names, and their width."""
    names, gap = (20.0, 6.0) if is_narrow(width_mm) else (29.0, 8.0)
    names = max(names, 4 + LETTER_MM * letters)
    width = (width_mm - names - 2 * gap - 4) / 3
    return [names + k * (width + gap) for k in range(3)], width


def _pooled(results: StudyResults) -> list[tuple[str, PooledCurves]]:
    """Return the means over participants, a condition each, of the main procedure."""
    main = answer_of(results).procedure
    found = [(key[1], curves) for key, curves in named(results.curves) if key[0] == main]
    several = len(found) > 1
    return [
        (f"Mean, {shortened(condition, 12)}" if several else "Mean", curves)
        for condition, curves in found
        if curves.n_participants > 1
    ]


def _fill_paired(
    panels: Sequence[Axes],
    trials: Sequence[TrialResult],
    pooled: Sequence[PooledCurves],
    results: StudyResults,
    *,
    narrow: bool,
) -> None:
    """Fill the three panels of recordings with a reference."""
    offset, rms, sd = panels
    for k, trial in enumerate(trials):
        curves = trial.agreement
        if curves is None:
            continue
        _mark(offset, k, curves.offset, curves.offset_ci, AS_RECORDED)
        _mark(offset, k, trial.offset_zeroed_deg, trial.offset_zeroed_ci_deg, ZEROED)
        _mark(rms, k, curves.rms_demeaned, curves.rms_demeaned_ci, PLAIN)
    for k, mean in enumerate(pooled, start=len(trials)):
        _mark(offset, k, mean.offset, mean.offset_ci, _Mark(marker="D"))
        _mark(rms, k, mean.rms_demeaned, mean.rms_demeaned_ci, _Mark(marker="D"))
    _fill_sd(sd, trials, "c SD" if narrow else "c Per-cycle SD")
    main = answer_of(results).procedure
    both = [v for key, v in named(results.variability) if key[0] == main and v.n_participants > 1]
    for k, found in enumerate(both[: len(pooled)], start=len(trials)):
        _mark(sd, k, found.test_sd, found.test_sd_ci, OF_WEARABLE)
        _mark(sd, k, found.reference_sd, found.reference_sd_ci, OF_REFERENCE)
    offset.axvline(0, color=INK, linewidth=0.5)
    letter(offset, "a Offset")
    letter(rms, "b RMS" if narrow else "b RMS, demeaned")
    offset.set_xlabel("Offset (°)")
    rms.set_xlabel("RMS (°)")
    rms.set_xlim(left=0)


def _keep_numbers_in_view(axes: Axes) -> None:
    """Let an interval that is out of all proportion leave the panel, so that numbers stay apart."""
    drawn = [np.asarray(line.get_xdata(), dtype=float) for line in axes.lines]
    marks = [float(x[0]) for x in drawn if x.size == 1]
    if not marks:
        return
    reach = _WIDEST * max(max(map(abs, marks)), max(marks) - min(marks))
    low, high = axes.get_xlim()
    axes.set_xlim(max(low, min(marks) - reach), min(high, max(marks) + reach))


def _fill_sd(axes: Axes, trials: Sequence[TrialResult], title: str) -> None:
    """Draw the per-cycle SD of one instrument or both."""
    for k, trial in enumerate(trials):
        wearable, reference = trial.wearable_variability, trial.reference_variability
        if wearable is not None:
            _mark(axes, k, wearable.sd, wearable.sd_ci, OF_WEARABLE)
        if reference is not None:
            _mark(axes, k, reference.sd, reference.sd_ci, OF_REFERENCE)
    axes.set_xlabel("SD over cycles (°)")
    if title:
        letter(axes, title)
    else:
        axes.set_title("Per-cycle SD")


def _mark(axes: Axes, row: int, value: float, ends: Ends, how: _Mark) -> None:
    """Draw a number and its interval in a row."""
    y = row + how.shift
    if np.isfinite(ends).all():
        axes.plot(ends, [y, y], color=how.colour, linewidth=0.8)
    if np.isfinite(value):
        axes.plot(
            [value], [y], how.marker, color=how.colour, markersize=2.8,
            markerfacecolor="white" if how.hollow else how.colour, markeredgewidth=0.8,
        )  # fmt: skip


def _key(
    figure: Figure, panels: Sequence[Axes], trials: Sequence[TrialResult], columns: int
) -> None:
    """Name the marks above the panels they stand in."""
    zeroed = any(np.isfinite(trial.offset_zeroed_deg) for trial in trials)
    both = any(trial.reference_variability is not None for trial in trials)
    if zeroed:
        _legend(figure, panels[0], (("as recorded", AS_RECORDED), ("zeroed", ZEROED)), columns)
    if both:
        marks = (("wearable", OF_WEARABLE), ("reference", OF_REFERENCE))
        _legend(figure, panels[-1], marks, columns)


def _legend(
    figure: Figure, axes: Axes, named_marks: Sequence[tuple[str, _Mark]], columns: int
) -> None:
    handles = [
        Line2D([], [], linestyle="", marker=how.marker, color=how.colour, label=name,
               markerfacecolor="white" if how.hollow else how.colour)
        for name, how in named_marks
    ]  # fmt: skip
    place = axes.get_position()
    figure.legend(
        handles=handles, loc="upper left", ncols=columns, bbox_to_anchor=(place.x0, 1.0),
        handletextpad=0.0, columnspacing=0.8,
    )  # fmt: skip


def _caption(results: StudyResults, trials: Sequence[TrialResult], pooled: bool) -> str:
    """Say what the rows are."""
    main, level = answer_of(results).procedure, results.options.level
    own = f"bars: {level} intervals over a recording's own cycles, which say nothing of others"
    if trials[0].agreement is None:
        return f"Every recording, {main}: the wearable's SD over cycles; {own}."
    zeroed = any(np.isfinite(trial.offset_zeroed_deg) for trial in trials)
    said = "(a) offset of the mean curves (wearable − reference)"
    said += ", as recorded and with both zeroed at neutral standing" if zeroed else ""
    foot = (
        f" At the foot: means over participants, {level} intervals over participants."
        if pooled
        else ""
    )
    return (
        f"Every recording with a reference, {main}: {said}, (b) RMS of the demeaned mean curves, "
        f"(c) SD over cycles of both instruments; {own}.{foot}"
    )


def draw_small_multiples(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return both mean curves and their difference of every recording, on shared scales."""
    shown = [trial for trial in _trials(results) if trial.agreement is not None]
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


def _shared(trials: Sequence[TrialResult]) -> tuple[Ends, float]:
    """Return the heights of all cells, and how far the differences reach."""
    known = [trial.agreement for trial in trials if trial.agreement is not None]
    curves = [curve for each in known for curve in (each.test_mean, each.reference_mean)]
    low, high = min(map(np.min, curves)), max(map(np.max, curves))
    pad = 0.06 * (high - low) or 1.0
    reach = max(float(np.abs(each.test_mean - each.reference_mean).max()) for each in known)
    return (float(low - pad), float(high + pad)), 1.1 * reach or 1.0


def _draw_cell(above: Axes, below: Axes, trial: TrialResult, heights: Ends, reach: float) -> None:
    """Draw one recording's mean curves, and their difference."""
    curves = trial.agreement
    assert curves is not None
    percent = np.linspace(0, 100, curves.test_mean.size)
    above.plot(percent, curves.test_mean, color=WEARABLE, linewidth=1.0)
    above.plot(
        percent, curves.reference_mean, color=REFERENCE, linewidth=0.9, linestyle=REFERENCE_DASH
    )
    below.axhline(0, color=FAINT, linewidth=0.5, linestyle=LIMIT_DASH)
    below.plot(percent, curves.test_mean - curves.reference_mean, color=INK, linewidth=0.8)
    above.set(xlim=(0, 100), ylim=heights)
    below.set(xlim=(0, 100), ylim=(-reach, reach))
    few_ticks(above, x=None, y=3)
    below.set_yticks([-_round(reach), 0.0, _round(reach)])
    above.set_xticks((0, 50, 100))


_ROUND = (1, 1.5, 2, 3, 4, 5, 6, 8)


def _round(reach: float) -> float:
    """Return the largest round number that lies well within the reach, apart from the zero."""
    power = 10.0 ** np.floor(np.log10(0.8 * reach))
    return float(power * max(step for step in _ROUND if step * power <= 0.8 * reach))


def _grid_legend(figure: Figure) -> None:
    handles = [
        Line2D([], [], color=WEARABLE, label="wearable"),
        Line2D([], [], color=REFERENCE, linestyle=REFERENCE_DASH, label="reference"),
    ]
    figure.legend(handles=handles, loc="lower right", ncols=2, bbox_to_anchor=(0.99, 0.0))
