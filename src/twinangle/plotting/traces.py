"""Figure of a recording's traces, both instruments on one clock."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from twinangle.plotting.alternatives import of_traces
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    INK,
    REFERENCE,
    REFERENCE_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
)
from twinangle.plotting.thinning import Mask, envelope, thinned
from twinangle.results import TrialResult
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.wording import number

STRETCH_S = 12.0
SHADES_DRAWN = 300  # excluded stretches shaded in a trace at most


def draw_traces(trial: TrialResult, joint: str) -> Drawn | None:
    """Draw both instruments over a stretch and over the whole recording, on one clock."""
    paired = trial.paired
    if paired is None or paired.wearable_deg.size < 2:
        return None
    figure = new_figure(DOUBLE_MM, 50)
    stretch = add_panel(figure, 13, 9, 104, 35)
    whole = _whole_panels(figure, paired)
    time_s = paired.time_s
    start, end = _stretch(paired, trial.cycles)
    part = (time_s >= start) & (time_s <= end)
    _draw_pair(stretch, paired, part)
    _draw_whole(whole, paired)
    all_of_it = (float(time_s[0]), float(time_s[-1]))
    for axes, span in ((stretch, (start, end)), *((each, all_of_it) for each in whole)):
        axes.set_xlim(*span)
        _shade_excluded(axes, trial.cycles, span)
        few_ticks(axes, x=6 if axes is stretch else 4, y=4 if axes is stretch else 2)
    for axes in (stretch, whole[-1]):
        axes.set_xlabel("Time (s)")
    whole[0].axvspan(start, end, ymin=0.93, ymax=1, color=INK, linewidth=0)
    stretch.set_ylabel(f"{joint_named(joint).label} (°)")
    letter(stretch, f"a {number(end - start, 0)} s of the recording")
    letter(whole[0], "b All of it")
    stretch.legend(
        loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2, handles=stretch.get_lines()
    )
    return Drawn("traces", figure, _traces_caption(trial), of_traces(trial))


def _traces_caption(trial: TrialResult) -> str:
    """Say what the traces show."""
    both = trial.paired is not None and trial.paired.reference_deg is not None
    who = "Both instruments after synchronisation" if both else "The wearable (no reference)"
    shaded = trial.cycles is not None and not trial.cycles.kept.all()
    return (
        f"{who}: (a) a stretch, (b) the whole recording"
        + (", an instrument a panel" if both else "")
        + ", the stretch marked by the bar on top."
        + (" Grey: cycles left out." if shaded else "")
    )


def _stretch(paired: PairedAngles, cycles: CycleSet | None) -> tuple[float, float]:
    """Return a stretch about the middle of the longest run of kept cycles."""
    time_s = paired.time_s
    first, last = float(time_s[0]), float(time_s[-1])
    length = min(STRETCH_S, last - first)
    middle = (first + last) / 2
    if cycles is not None and cycles.kept.any():
        edges = np.flatnonzero(np.diff(np.concatenate([[False], cycles.kept, [False]])))
        begins, ends = edges[::2], edges[1::2] - 1
        run = int(np.argmax(ends - begins))
        middle = float(cycles.start_s[begins[run]] + cycles.end_s[ends[run]]) / 2
    start = min(max(middle - length / 2, first), last - length)
    return start, start + length


def _draw_pair(axes: Axes, paired: PairedAngles, part: Mask) -> None:
    """Draw both angles over part of the recording, the reference dashed and on top."""
    time_s = paired.time_s[part]
    trace = envelope(time_s, paired.wearable_deg[part])
    axes.plot(*trace, color=WEARABLE, linewidth=1.0, label="wearable")
    if paired.reference_deg is not None:
        trace = envelope(time_s, paired.reference_deg[part])
        axes.plot(
            *trace, color=REFERENCE, linewidth=1.0, linestyle=REFERENCE_DASH, zorder=2.1,
            label="reference",
        )  # fmt: skip


def _whole_panels(figure: Figure, paired: PairedAngles) -> list[Axes]:
    """Return a panel an instrument, one above the other: neither may hide the other."""
    if paired.reference_deg is None:
        return [add_panel(figure, 131, 9, 45, 35)]
    panels = [add_panel(figure, 131, 27.5, 45, 16.5), add_panel(figure, 131, 9, 45, 16.5)]
    panels[0].tick_params(labelbottom=False)
    return panels


def _draw_whole(panels: Sequence[Axes], paired: PairedAngles) -> None:
    """Draw each instrument over the whole recording, at the same height."""
    traces = ((paired.wearable_deg, WEARABLE, "wearable"),
              (paired.reference_deg, REFERENCE, "reference"))  # fmt: skip
    for axes, (values, colour, name) in zip(panels, traces, strict=False):
        if values is not None:
            axes.plot(
                *envelope(paired.time_s, values, 600), color=colour, linewidth=0.5, label=name
            )
    heights = [axes.get_ylim() for axes in panels]
    for axes in panels:
        axes.set_ylim(min(low for low, _ in heights), max(high for _, high in heights))


def _shade_excluded(axes: Axes, cycles: CycleSet | None, span: tuple[float, float]) -> None:
    """Shade the cycles that were left out."""
    if cycles is None:
        return
    out = np.flatnonzero(~cycles.kept & (cycles.end_s > span[0]) & (cycles.start_s < span[1]))
    out = thinned(out, SHADES_DRAWN)
    spans = [(cycles.start_s[k], cycles.end_s[k] - cycles.start_s[k]) for k in out]
    if spans:
        axes.broken_barh(
            spans, (0, 1), transform=axes.get_xaxis_transform(), color="#e4e4e4", linewidth=0,
            zorder=0,
        )  # fmt: skip
