"""The three figures of a recording: traces, synchronisation, cycles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from twinangle.agreement.variability import CycleVariability
from twinangle.clocks import line_se_s
from twinangle.report.grouping import TrialGroup
from twinangle.report.style import (
    COLOURS,
    DASHES,
    DOUBLE_MM,
    EXCLUDED,
    INK,
    REFERENCE,
    REFERENCE_DASH,
    WEARABLE,
    add_panel,
    envelope,
    few_ticks,
    joined,
    letter,
    new_figure,
    thinned,
)
from twinangle.report.wording import number
from twinangle.results import TrialResult
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array, CycleSet, PairedAngles, Synchronisation

Mask = NDArray[np.bool_]
STRETCH_S = 12.0
CURVES_DRAWN = 120  # kept cycles drawn in one panel at most, evenly spread over the trial
EXCLUDED_DRAWN = 40
SHADES_DRAWN = 300  # excluded stretches shaded in a trace at most


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A figure, the end of its file name, and the words that go with it."""

    name: str
    figure: Figure
    caption: str
    alternative: str  # for readers who cannot see it


def draw_trial(group: TrialGroup, joint: str) -> tuple[Drawn, ...]:
    """Return the figures of one recording; none when no procedure worked."""
    trial = group.main
    figures = (
        draw_traces(trial, joint),
        draw_synchronisation(trial),
        draw_cycles(group, joint),
    )
    return tuple(figure for figure in figures if figure is not None)


def draw_traces(trial: TrialResult, joint: str) -> Drawn | None:
    """Draw both instruments over a stretch and over the whole recording, on one clock."""
    paired = trial.paired
    if paired is None or paired.wearable_deg.size < 2:
        return None
    figure = new_figure(DOUBLE_MM, 50)
    stretch = add_panel(figure, 13, 9, 104, 35)
    whole = add_panel(figure, 131, 9, 45, 35)
    time_s = paired.time_s
    start, end = _stretch(paired, trial.cycles)
    part = (time_s >= start) & (time_s <= end)
    _draw_pair(stretch, paired, part, close=True)
    _draw_pair(whole, paired, np.ones(time_s.size, dtype=bool), close=False)
    for axes, span in ((stretch, (start, end)), (whole, (time_s[0], time_s[-1]))):
        axes.set_xlim(*span)
        _shade_excluded(axes, trial.cycles, span)
        axes.set_xlabel("Time (s)")
        few_ticks(axes, x=6 if axes is stretch else 4, y=4)
    whole.axvspan(start, end, ymin=0.965, ymax=1, color=INK, linewidth=0)
    stretch.set_ylabel(f"{joint_named(joint).label} (°)")
    letter(stretch, f"a {number(end - start, 0)} s of the recording")
    letter(whole, "b All of it")
    stretch.legend(
        loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2, handles=stretch.get_lines()
    )
    return Drawn("traces", figure, _traces_caption(trial), f"Flexion over time, {trial.label}.")


def _traces_caption(trial: TrialResult) -> str:
    """Say what the traces show."""
    both = trial.paired is not None and trial.paired.reference_deg is not None
    who = "Both instruments after synchronisation" if both else "The wearable (no reference)"
    shaded = trial.cycles is not None and not trial.cycles.kept.all()
    return (
        f"{who}: (a) a stretch, (b) the whole recording, the stretch marked by the bar on top."
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


def _draw_pair(axes: Axes, paired: PairedAngles, part: Mask, *, close: bool) -> None:
    """Draw both angles over part of the recording, thinned when it is long.

    Seen close the reference is dashed and on top; over all of it, solid and beneath.
    """
    time_s = paired.time_s[part]
    width = 1.0 if close else 0.5
    trace = envelope(time_s, paired.wearable_deg[part])
    axes.plot(*trace, color=WEARABLE, linewidth=width, label="wearable")
    if paired.reference_deg is not None:
        trace = envelope(time_s, paired.reference_deg[part])
        line = axes.plot(*trace, color=REFERENCE, linewidth=width, label="reference")[0]
        line.set(linestyle=REFERENCE_DASH if close else "solid", zorder=2.1 if close else 1.9)


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


def draw_synchronisation(trial: TrialResult) -> Drawn | None:
    """Draw the correlation over candidate lags, the windowed lags, and the line with its error."""
    clock = trial.synchronisation
    if clock is None or not (clock.candidate_lags_s.size or clock.window_lag_s.size):
        return None
    figure = new_figure(DOUBLE_MM, 44)
    captions = []
    if clock.candidate_lags_s.size:
        captions.append(_draw_correlation(add_panel(figure, 13, 9, 62, 29), clock))
    if clock.window_lag_s.size:
        captions.append(_draw_windows(add_panel(figure, 90, 9, 36, 29), clock))
        captions.append(_draw_departures(add_panel(figure, 142, 9, 34, 29), clock))
    caption = f"Synchronisation: {'; '.join(captions)}."
    return Drawn("synchronisation", figure, caption, f"Lag and drift of {trial.label}.")


def _draw_correlation(axes: Axes, clock: Synchronisation) -> str:
    """Draw the correlation of the two angles at every lag tried."""
    axes.plot(
        *envelope(clock.candidate_lags_s, clock.candidate_correlation, 800),
        color=INK,
        linewidth=0.6,
        label="correlation",
    )
    said = "(a) correlation of the two angles at each lag tried"
    if np.isfinite(clock.peak_correlation):
        axes.plot(
            [clock.lag_s], [clock.peak_correlation], "o", color=WEARABLE, label="peak", zorder=3
        )
        axes.axvline(clock.lag_s, color=WEARABLE, linewidth=0.5)
        said += f", its peak {number(clock.peak_correlation, 3)} at {number(clock.lag_s, 3)} s"
    if np.isfinite(clock.runner_up_correlation):
        axes.axhline(
            clock.runner_up_correlation, color=REFERENCE, linestyle=REFERENCE_DASH, linewidth=0.8,
            label="runner-up",
        )  # fmt: skip
        said += f", the next best {number(clock.runner_up_correlation, 3)} (dashed)"
    axes.set_xlim(clock.candidate_lags_s[0], clock.candidate_lags_s[-1])
    axes.set_xlabel("Lag added to the reference clock (s)")
    axes.set_ylabel("Correlation")
    few_ticks(axes, x=7, y=4)
    letter(axes, "a Correlation")
    named = [line for line in axes.get_lines() if line.get_label() in ("peak", "runner-up")]
    axes.legend(handles=named, loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2)
    return said


def _draw_windows(axes: Axes, clock: Synchronisation) -> str:
    """Draw the lag of each window against the line of lag and drift."""
    centre_s = _middle(clock)
    level = clock.lag_s + centre_s * clock.drift_ppm * 1e-6
    _draw_points(axes, clock, (clock.window_lag_s - level) * 1e3)
    ends = _ends(clock)
    axes.plot(ends, (ends - centre_s) * clock.drift_ppm * 1e-3, color=WEARABLE, label="line")
    axes.set_xlabel("Reference clock (s)")
    axes.set_ylabel("Lag − middle (ms)")
    few_ticks(axes, x=4, y=4)
    letter(axes, "b Lag over time")
    return (
        "(b) lag of single stretches (windows) against the lag in the middle of the overlap, and "
        f"the line fitted to all samples, whose slope is the drift, {number(clock.drift_ppm, 1)} "
        "ppm (1 ppm is 1 ms in 1000 s)"
    )


def _draw_departures(axes: Axes, clock: Synchronisation) -> str:
    """Draw how far each window lies off the line, with its error, and the line's band."""
    ends, line = _ends(clock), clock.lag_s + clock.window_time_s * clock.drift_ppm * 1e-6
    _draw_points(axes, clock, (clock.window_lag_s - line) * 1e3)
    axes.axhline(0, color=WEARABLE, label="line")
    said = "(c) the windows again, less the line"
    if np.isfinite(clock.window_lag_se_s).any():
        said += ", bars one standard error of a window's own scatter either side"
    times = np.linspace(float(ends[0]), float(ends[1]), 50)
    error = line_se_s(clock, times)
    if error is not None:
        axes.fill_between(times, -1e3 * error, 1e3 * error, color=WEARABLE, alpha=0.2, linewidth=0)
        said += (
            ", band that of the line, without the lag's systematic part, which moves line and "
            "windows alike"
        )
    low, high = axes.get_ylim()
    reach = max(-low, high)
    axes.set_ylim(-reach, reach)
    axes.set_xlabel("Reference clock (s)")
    axes.set_ylabel("Lag − line (ms)")
    few_ticks(axes, x=4, y=4)
    letter(axes, "c Off the line")
    return said


def _draw_points(axes: Axes, clock: Synchronisation, off_ms: Array) -> None:
    """Draw the windows' lags, with bars where their errors are known."""
    errors = clock.window_lag_se_s
    axes.errorbar(
        clock.window_time_s, off_ms,
        yerr=1e3 * np.nan_to_num(errors) if errors.size == off_ms.size else None,
        fmt="o", color=INK, markersize=2.2, elinewidth=0.6, label="windows",
    )  # fmt: skip


def _ends(clock: Synchronisation) -> Array:
    """Return the first and the last window's time, half a window wider."""
    time_s = clock.window_time_s
    slack = float(np.median(np.diff(time_s))) / 2 if time_s.size > 1 else 1.0
    return np.array([time_s.min() - slack, time_s.max() + slack])


def _middle(clock: Synchronisation) -> float:
    known = np.isfinite(clock.centre_s)
    return float(clock.centre_s if known else clock.window_time_s.mean())


def draw_cycles(group: TrialGroup, joint: str) -> Drawn | None:
    """Draw all cycles of both instruments, their mean curves, and the demeaned difference.

    Without a reference: the wearable's cycles, and its SD over the cycle for every procedure.
    """
    trial = group.main
    cycles, wearable = trial.cycles, trial.wearable_variability
    if cycles is None or wearable is None or not cycles.kept.any():
        return None
    figure = new_figure(DOUBLE_MM, 56)
    paired = trial.reference_variability is not None
    lefts = (13.0, 52.5, 92.0, 140.5) if paired else (13.0, 73.0, 133.0)
    width = 34.0 if paired else 42.0
    panels = [add_panel(figure, left, 9, width, 41) for left in lefts]
    _draw_curves(panels[0], cycles.wearable_deg, cycles.kept, wearable, WEARABLE)
    letter(panels[0], "a Wearable")
    panels[0].set_ylabel(f"{joint_named(joint).label} (°)")
    if trial.reference_variability is not None and cycles.reference_deg is not None:
        reference = trial.reference_variability
        _draw_curves(panels[1], cycles.reference_deg, cycles.kept, reference, REFERENCE)
        letter(panels[1], "b Reference")
        _draw_means(panels[2], wearable, reference)
        kept = cycles.kept
        _share_height(panels[:3], cycles.wearable_deg[kept], cycles.reference_deg[kept])
        _draw_difference(panels[3], group)
    else:
        _draw_durations(panels[1], cycles)
        _draw_sd_curves(panels[2], group)
    for axes in panels:
        axes.set_xlabel(axes.get_xlabel() or "Cycle (%)")
        few_ticks(axes, x=4, y=5)
    return Drawn("cycles", figure, _cycles_caption(group), f"Cycles of {trial.label}.")


def _draw_curves(
    axes: Axes, curves: Array, kept: Mask, spread: CycleVariability, colour: str
) -> None:
    """Draw kept cycles thin, dropped ones grey, and mean ± SD."""
    complete = np.isfinite(curves).any(axis=1)
    dropped = thinned(np.flatnonzero(~kept & complete), EXCLUDED_DRAWN)
    shown = thinned(np.flatnonzero(kept), CURVES_DRAWN)
    if dropped.size:
        axes.plot(*joined(curves[dropped]), color=EXCLUDED, linewidth=0.5, label="left out")
    axes.plot(*joined(curves[shown]), color=colour, linewidth=0.5, alpha=0.35, label="kept")
    percent = np.linspace(0, 100, spread.mean_curve.size)
    axes.fill_between(
        percent,
        spread.mean_curve - spread.sd_curve,
        spread.mean_curve + spread.sd_curve,
        color=colour, alpha=0.3, linewidth=0, label="mean ± SD",
    )  # fmt: skip
    axes.plot(percent, spread.mean_curve, color=colour, linewidth=1.2, label="mean")
    axes.set_xlim(0, 100)


def _draw_means(axes: Axes, wearable: CycleVariability, reference: CycleVariability) -> None:
    """Draw both mean curves with their SD bands in one panel."""
    percent = np.linspace(0, 100, wearable.mean_curve.size)
    for spread, colour, dash, label in (
        (wearable, WEARABLE, "solid", "wearable"),
        (reference, REFERENCE, REFERENCE_DASH, "reference"),
    ):
        mean, sd = spread.mean_curve, spread.sd_curve
        axes.fill_between(percent, mean - sd, mean + sd, color=colour, alpha=0.2, linewidth=0)
        axes.plot(percent, mean, color=colour, linewidth=1.0, linestyle=dash, label=label)
    axes.set_xlim(0, 100)
    letter(axes, "c Means ± SD")


def _share_height(panels: list[Axes], *kept: Array) -> None:
    """Give the panels one vertical scale that holds every kept cycle, and label it once."""
    low, high = min(map(np.min, kept)), max(map(np.max, kept))
    pad = 0.08 * (high - low) or 1.0
    for axes in panels:
        axes.set_ylim(low - pad, high + pad)
    for axes in panels[1:]:
        axes.tick_params(labelleft=False)


def _draw_difference(axes: Axes, group: TrialGroup) -> None:
    """Draw the difference of the mean curves, offset taken out, for every procedure."""
    for k, result in enumerate(group.worked):
        agreement = result.agreement
        if agreement is None:
            continue
        difference = agreement.test_mean - agreement.reference_mean - agreement.offset
        axes.plot(
            np.linspace(0, 100, difference.size),
            difference,
            color=COLOURS[k % len(COLOURS)],
            linestyle=DASHES[k % len(DASHES)],
            label=result.procedure,
        )
    axes.axhline(0, color=INK, linewidth=0.5)
    axes.set_xlim(0, 100)
    axes.set_ylabel("Difference (°)")
    letter(axes, "d Difference, demeaned")
    _name_procedures(axes, group)


def _draw_sd_curves(axes: Axes, group: TrialGroup) -> None:
    """Draw the wearable's SD over cycles at each point, for every procedure."""
    for k, result in enumerate(group.worked):
        if result.wearable_variability is None:
            continue
        curve = result.wearable_variability.sd_curve
        axes.plot(
            np.linspace(0, 100, curve.size),
            curve,
            color=COLOURS[k % len(COLOURS)],
            linestyle=DASHES[k % len(DASHES)],
            label=result.procedure,
        )
    axes.set_xlim(0, 100)
    axes.set_ylim(bottom=0)
    axes.set_ylabel("SD over cycles (°)")
    letter(axes, "c Wearable's SD")
    _name_procedures(axes, group)


def _name_procedures(axes: Axes, group: TrialGroup) -> None:
    """Add a legend where more than one procedure is drawn, with room for it."""
    if len(axes.get_legend_handles_labels()[1]) > 1:
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.28 * (high - low))
        axes.legend(loc="upper left", ncols=1 if len(group.worked) > 2 else 2, handlelength=1.6)


def _draw_durations(axes: Axes, cycles: CycleSet) -> None:
    """Draw each cycle's duration over the recording, dropped ones grey."""
    shown = thinned(np.arange(cycles.start_s.size), 2000)
    kept = cycles.kept[shown]
    start, duration = cycles.start_s[shown], cycles.duration_s[shown]
    axes.plot(start[~kept], duration[~kept], "x", color=EXCLUDED, label="left out")
    axes.plot(start[kept], duration[kept], "o", color=WEARABLE, markersize=1.8, label="kept")
    middle, reach = float(np.median(duration)), max(float(np.ptp(duration)) * 0.6, 0.1)
    axes.set_ylim(middle - reach, middle + reach)
    axes.set_ylabel("Cycle duration (s)")
    axes.set_xlabel("Time (s)")
    letter(axes, "b Durations")


def _cycles_caption(group: TrialGroup) -> str:
    """Say how many cycles are drawn, kept and left out, and what the panels hold."""
    trial = group.main
    assert trial.cycles is not None
    kept = int(trial.cycles.kept.sum())
    out = trial.cycles.kept.size - kept
    said = f"{kept} cycles kept (thin lines, mean ± SD), {out} left out (grey)"
    if kept > CURVES_DRAWN or out > EXCLUDED_DRAWN:
        said += f", of which at most {CURVES_DRAWN} and {EXCLUDED_DRAWN} are drawn"
    if trial.agreement is None:
        return f"{said}: (a) the wearable's cycles, (b) durations, (c) SD at each point."
    return (
        f"{said}: (a, b) each instrument, (c) both means, (d) wearable minus reference after "
        f"removing the offset of {number(trial.agreement.offset, 2)}°."
    )
