"""Figure of a recording's traces, both instruments on one clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

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
from twinangle.plotting.onto import (
    INSTRUMENTS,
    Instrument,
    angle_label,
    on_axes,
    one_of,
    part_of,
    trial_of,
)
from twinangle.plotting.thinning import Mask, envelope, thinned
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.wording import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

STRETCH_S = 12.0
_KEPT = "traces (`traces = true` under `[report]` of the study file keeps them in a run's folder)"
SHADES_DRAWN = 300  # excluded stretches shaded in a trace at most


def draw_traces(trial: TrialResult, joint: str) -> Drawn | None:
    """Draw both instruments over a stretch and over the whole recording, on one clock."""
    paired = trial.paired
    if paired is None or paired.wearable_deg.size < 2:
        return None
    figure = new_figure(DOUBLE_MM, 50)
    start, end = _stretch(paired, trial.cycles)
    stretch = plot_traces(trial, add_panel(figure, 13, 9, 104, 35), joint=joint)
    whole = _whole_panels(figure, paired)
    for axes, instrument in zip(whole, INSTRUMENTS, strict=False):
        plot_recording(trial, axes, instrument=instrument)
        axes.set_ylabel("")  # as in the panel beside them
    for axes in whole[:-1]:
        axes.set_xlabel("")
    heights = [axes.get_ylim() for axes in whole]
    for axes in whole:
        axes.set_ylim(min(low for low, _ in heights), max(high for _, high in heights))
    whole[0].axvspan(start, end, ymin=0.93, ymax=1, color=INK, linewidth=0)
    letter(stretch, f"a {number(end - start, 0)} s of the recording")
    letter(whole[0], "b All of it")
    return Drawn("traces", figure, _traces_caption(trial), of_traces(trial))


def plot_traces(
    trial: TrialResult,
    ax: Axes | None = None,
    *,
    span_s: tuple[float, float] | None = None,
    joint: str | None = None,
    legend: bool = True,
) -> Axes:
    """Draw both instruments' angles over a stretch of a recording, on one clock.

    Cycles that were left out are shaded. Of many samples in little width, smallest and largest
    are drawn.

    Parameters
    ----------
    trial : TrialResult
        With its traces: of a run, or read back from a folder whose study keeps them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    span_s : (float, float), optional
        From when to when, seconds of the wearable's clock; without it, 12 s about the middle of
        the longest run of kept cycles.
    joint : str, optional
        Named in the label, as `results.joint`.
    legend : bool
        Whether the instruments are named above the axes.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is no trial, or `ax` is no axes.
    ValueError
        If the trial holds no traces, or none within `span_s`.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_traces(results.trials[0], span_s=(10, 20))
    """
    paired = part_of(trial_of(trial), trial.paired, _KEPT)
    start, end = _stretch(paired, trial.cycles) if span_s is None else span_s
    part = (paired.time_s >= start) & (paired.time_s <= end)
    if part.sum() < 2:
        first, last = paired.time_s[[0, -1]]
        raise ValueError(
            f"`span_s`: no samples from {start:g} to {end:g} s; the recording has them from "
            f"{first:.2f} to {last:.2f} s."
        )
    with on_axes(ax) as axes:
        _draw_pair(axes, paired, part)
        lines = axes.get_lines()[-1 if paired.reference_deg is None else -2 :]
        axes.set_xlim(start, end)
        _shade_excluded(axes, trial.cycles, (start, end))
        few_ticks(axes, x=6, y=4)
        axes.set(xlabel="Time (s)", ylabel=angle_label(joint))
        if ax is None:
            axes.set_title(trial.label, loc="left")
        if legend:
            axes.legend(loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2, handles=lines)
    return axes


def plot_recording(
    trial: TrialResult,
    ax: Axes | None = None,
    *,
    instrument: Instrument = "wearable",
    joint: str | None = None,
) -> Axes:
    """Draw one instrument's angle over the whole recording.

    Cycles that were left out are shaded.

    Parameters
    ----------
    trial : TrialResult
        With its traces.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    instrument : {"wearable", "reference"}
        Whose angle.
    joint : str, optional
        Named in the label, as `results.joint`.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is no trial, or `ax` is no axes.
    ValueError
        If the trial holds no such trace.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_recording(results.trials[0], instrument="reference")
    """
    paired = part_of(trial_of(trial), trial.paired, _KEPT)
    of_both = {"wearable": paired.wearable_deg, "reference": paired.reference_deg}
    values = part_of(trial, of_both[one_of(instrument, INSTRUMENTS)], f"{instrument} trace")
    span = (float(paired.time_s[0]), float(paired.time_s[-1]))
    with on_axes(ax) as axes:
        colour = WEARABLE if instrument == "wearable" else REFERENCE
        trace = envelope(paired.time_s, values, 600)
        axes.plot(*trace, color=colour, linewidth=0.5, label=instrument)
        axes.set_xlim(*span)
        _shade_excluded(axes, trial.cycles, span)
        few_ticks(axes, x=4, y=2)
        axes.set(xlabel="Time (s)", ylabel=angle_label(joint))
    return axes


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
