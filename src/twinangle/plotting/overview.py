"""Figure of the numbers at a glance: offset, RMS and SD of every trial."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    COLOURS,
    DOUBLE_MM,
    FAINT,
    INK,
    MARKERS,
    add_panel,
    few_ticks,
    letter,
    new_figure,
)
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import conditions, procedures
from twinangle.wording import shortened


def draw_overview(results: StudyResults) -> Drawn | None:
    """Draw offset, demeaned RMS and per-cycle SD of every trial, by condition and procedure."""
    trials = [trial for trial in results.trials if trial.status == "ok"]
    if not trials:
        return None
    figure = new_figure(DOUBLE_MM, 50)
    panels = [add_panel(figure, left, 6, 47, 34) for left in (11.0, 71.0, 130.0)]
    _draw_strip(panels[0], results, "offset")
    _draw_strip(panels[1], results, "rms")
    _draw_strip(panels[2], results, "sd")
    letter(panels[0], "a Offset of mean curves")
    letter(panels[1], "b RMS, demeaned")
    letter(panels[2], "c Per-cycle SD")
    panels[0].axhline(0, color=INK, linewidth=0.5, zorder=0)
    for axes, label in zip(panels, ("Offset (°)", "RMS (°)", "SD (°)"), strict=True):
        axes.set_ylabel(label)
        few_ticks(axes, x=None, y=5)
    for axes in panels[1:]:
        axes.set_ylim(bottom=0)
    _key_overview(panels, results)
    caption = (
        "One point a trial: (a) offset of the mean curves, (b) RMS of the demeaned curves, "
        "(c) SD over cycles of the wearable (filled) and the reference (hollow)."
    )
    return Drawn("overview", figure, caption, "Offset, RMS and per-cycle SD of every trial.")


def _draw_strip(axes: Axes, results: StudyResults, what: str) -> None:
    """Draw one number of every trial, in columns by condition, procedures side by side."""
    names, columns = procedures(results), conditions(results)
    width = 0.7 / len(names)
    for c, condition in enumerate(columns):
        for p, procedure in enumerate(names):
            trials = [
                trial
                for trial in results.trials
                if trial.status == "ok"
                and trial.condition == condition
                and trial.procedure == procedure
            ]
            place = c - 0.35 + width * (p + 0.5)
            _draw_points(axes, place, width, trials, what, p)
    axes.set_xlim(-0.6, len(columns) - 0.4)
    if what != "sd":
        _say_no_reference(axes, results, columns)
    limit = max(6, 36 // len(columns))
    axes.set_xticks(range(len(columns)), [shortened(name or "–", limit) for name in columns])


def _say_no_reference(axes: Axes, results: StudyResults, columns: Sequence[str]) -> None:
    """Write so above each condition that has no reference."""
    known = {trial.condition for trial in results.trials if trial.agreement is not None}
    for c, condition in enumerate(columns):
        if condition not in known:
            axes.text(
                c, 0.5, "no\nreference", transform=axes.get_xaxis_transform(), ha="center",
                va="center", color=FAINT,
            )  # fmt: skip


def _draw_points(
    axes: Axes, place: float, width: float, trials: Sequence[TrialResult], what: str, p: int
) -> None:
    """Draw the points of one procedure in one condition."""
    for hollow, values in _strip_values(trials, what):
        known = [(k, v) for k, v in enumerate(values) if v is not None and np.isfinite(v)]
        spread = width * 0.6 / max(len(values), 1)
        shift = width * 0.15 if what == "sd" else 0.0
        x = [
            place + (k - (len(values) - 1) / 2) * spread * (0.5 if what == "sd" else 1)
            + (shift if hollow else -shift)
            for k, _ in known
        ]  # fmt: skip
        axes.plot(
            x, [v for _, v in known], linestyle="", marker=MARKERS[p % len(MARKERS)],
            color=COLOURS[p % len(COLOURS)], fillstyle="none" if hollow else "full",
        )  # fmt: skip


def _strip_values(
    trials: Sequence[TrialResult], what: str
) -> list[tuple[bool, list[float | None]]]:
    """Return the numbers of some trials, with whether they are drawn hollow."""
    if what == "sd":
        wearable = [t.wearable_variability for t in trials]
        reference = [t.reference_variability for t in trials]
        return [
            (False, [None if v is None else v.sd for v in wearable]),
            (True, [None if v is None else v.sd for v in reference]),
        ]
    agreements = [t.agreement for t in trials]
    if what == "offset":
        return [(False, [None if a is None else a.offset for a in agreements])]
    return [(False, [None if a is None else a.rms_demeaned for a in agreements])]


def _key_overview(panels: Sequence[Axes], results: StudyResults) -> None:
    """Name the procedures, and filled and hollow points."""
    handles = [
        Line2D(
            [], [], linestyle="", marker=MARKERS[p % len(MARKERS)], color=COLOURS[p % 10],
            label=shortened(name, 24),
        )
        for p, name in enumerate(procedures(results))
    ]  # fmt: skip
    panels[0].figure.legend(
        handles=handles[:6], loc="upper left", ncols=6, bbox_to_anchor=(0.055, 1), handletextpad=0.1
    )
