"""A recording's cycles: curves, means, differences, SD and durations, a panel each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement.variability import CycleVariability
from twinangle.plotting.looks import (
    EXCLUDED,
    FAINT,
    INK,
    LIMIT_DASH,
    REFERENCE,
    REFERENCE_DASH,
    WEARABLE,
    few_ticks,
    procedure_style,
    type_scale,
)
from twinangle.plotting.onto import (
    INSTRUMENTS,
    Instrument,
    angle_label,
    on_axes,
    one_of,
    part_of,
    size_mm,
    trial_of,
    trials_of,
)
from twinangle.plotting.thinning import Mask, joined, thinned
from twinangle.results import TrialResult
from twinangle.signals.recording import Array, CycleSet
from twinangle.under_test import parts_of, under_test
from twinangle.wording import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LONGEST = 24  # letters of a name in a legend
_KEY_MM, _LETTER_MM = 9.0, 1.45  # of a legend in type of 7 points: around a name, and a letter
CURVES_DRAWN = 120  # kept cycles drawn in one panel at most, evenly spread over the trial
EXCLUDED_DRAWN = 20


def plot_cycles(
    trial: TrialResult,
    ax: Axes | None = None,
    *,
    instrument: Instrument = "wearable",
    joint: str | None = None,
    legend: bool = True,
) -> Axes:
    """Draw an instrument's cycles over each other: kept ones, left out ones pale, mean and SD.

    Of very many, at most 120 kept ones and 20 left out are drawn, evenly spread.

    Parameters
    ----------
    trial : TrialResult
        With its cycles: of a run, or read back from a folder whose study keeps them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    instrument : {"wearable", "reference"}
        Whose cycles.
    joint : str, optional
        Named in the label, as `results.joint`.
    legend : bool
        Whether a key names the lines.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial holds no such cycles.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cycles(results.trials[0])
    """
    cycles = _cycles_of(trial)
    of_both = {
        "wearable": (cycles.wearable_deg, trial.wearable_variability),
        "reference": (cycles.reference_deg, trial.reference_variability),
    }
    curves, spread = of_both[one_of(instrument, INSTRUMENTS)]
    curves = part_of(trial, curves, f"cycles of the {instrument}")
    spread = part_of(trial, spread, f"kept cycles of the {instrument}")
    with on_axes(ax) as axes:
        colour = WEARABLE if instrument == "wearable" else REFERENCE
        _draw_curves(axes, curves, cycles.kept, spread, colour)
        few_ticks(axes, x=4, y=5)
        axes.set(xlabel="Cycle (%)", ylabel=angle_label(joint))
        if legend:
            _name_cycles(axes)
        if ax is None:
            axes.set_title(f"{trial.label}, {instrument}", loc="left")
    return axes


def plot_cycle_means(
    trial: TrialResult,
    ax: Axes | None = None,
    *,
    joint: str | None = None,
    legend: bool = True,
) -> Axes:
    """Draw both instruments' mean curves over a recording's kept cycles, with their SD shaded.

    Parameters
    ----------
    trial : TrialResult
        With a reference.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    joint : str, optional
        Named in the label, as `results.joint`.
    legend : bool
        Whether the instruments are named.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial holds no mean curve of one of them.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cycle_means(results.trials[0])
    """
    trial_of(trial)
    wearable = part_of(trial, trial.wearable_variability, "kept cycles of the wearable")
    reference = part_of(trial, trial.reference_variability, "kept cycles of the reference")
    with on_axes(ax) as axes:
        _draw_means(axes, wearable, reference)
        few_ticks(axes, x=4, y=5)
        axes.set(xlabel="Cycle (%)", ylabel=angle_label(joint))
        if legend:
            axes.legend(loc="best")
        if ax is None:
            axes.set_title(f"{trial.label}, means ± SD", loc="left")
    return axes


def plot_cycle_differences(
    result: TrialResult | Sequence[TrialResult],
    ax: Axes | None = None,
    *,
    heights: tuple[float, float] | None = None,
) -> Axes:
    """Draw the difference of a recording's mean curves, offset taken out, a line a procedure.

    Parameters
    ----------
    result : TrialResult or sequence of TrialResult
        One recording under one procedure or several, each a line.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    heights : (float, float), optional
        Ends of the vertical axis, such as those of another recording; without them, of what is
        drawn.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no trial holds mean curves of both instruments.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cycle_differences(results.trials[:2])
    """
    trials = trials_of(result)
    if not any(trial.agreement for trial in trials):
        part_of(trials[0], trials[0].agreement, "mean curves of both instruments")
    with on_axes(ax) as axes:
        _draw_difference(axes, trials)
        _finish(axes, heights, len(trials))
        axes.set(xlabel="Cycle (%)", ylabel="Difference (°)")
    return axes


def plot_cycle_sds(
    result: TrialResult | Sequence[TrialResult],
    ax: Axes | None = None,
    *,
    heights: tuple[float, float] | None = None,
) -> Axes:
    """Draw the wearable's SD over a recording's kept cycles at each point, a line a procedure.

    Parameters
    ----------
    result : TrialResult or sequence of TrialResult
        One recording under one procedure or several, each a line.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    heights : (float, float), optional
        Ends of the vertical axis, such as those of another recording; without them, of what is
        drawn.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no trial holds kept cycles.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cycle_sds(results.trials[0])
    """
    trials = trials_of(result)
    if not any(trial.wearable_variability for trial in trials):
        part_of(trials[0], trials[0].wearable_variability, "kept cycles of the wearable")
    with on_axes(ax) as axes:
        _draw_sd_curves(axes, trials)
        _finish(axes, heights, len(trials))
        axes.set(xlabel="Cycle (%)", ylabel="SD over cycles (°)")
    return axes


def plot_cycle_durations(
    trial: TrialResult, ax: Axes | None = None, *, legend: bool = True
) -> Axes:
    """Draw each cycle's duration over the recording, kept ones as dots, left out ones as crosses.

    Parameters
    ----------
    trial : TrialResult
        With its cycles.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    legend : bool
        Whether the marks are named, where some cycles were left out.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial holds no cycles.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cycle_durations(results.trials[0])
    """
    cycles = _cycles_of(trial)
    with on_axes(ax) as axes:
        _draw_durations(axes, cycles)
        few_ticks(axes, x=4, y=5)
        if legend and not cycles.kept.all():
            axes.legend(loc="best")
    return axes


def _cycles_of(trial: TrialResult) -> CycleSet:
    """Return a trial's cycles, or say that it holds none."""
    return part_of(trial_of(trial), trial.cycles, "cycles")


def _finish(axes: Axes, heights: tuple[float, float] | None, n: int) -> None:
    """Set the ends of both axes, name the procedures, and ask for few ticks."""
    axes.set_xlim(0, 100)
    if heights is not None:
        axes.set_ylim(*heights)
    _name_procedures(axes, n)
    few_ticks(axes, x=4, y=5)


def _draw_curves(
    axes: Axes, curves: Array, kept: Mask, spread: CycleVariability, colour: str
) -> None:
    """Draw dropped cycles pale, kept ones thin, and mean ± SD on top of both."""
    complete = np.isfinite(curves).any(axis=1)
    dropped = thinned(np.flatnonzero(~kept & complete), EXCLUDED_DRAWN)
    shown = thinned(np.flatnonzero(kept), CURVES_DRAWN)
    if dropped.size:
        axes.plot(
            *joined(curves[dropped]), color=EXCLUDED, linewidth=0.5, alpha=0.6, label="left out"
        )
    axes.plot(*joined(curves[shown]), color=colour, linewidth=0.5, alpha=0.16, label="kept")
    percent = np.linspace(0, 100, spread.mean_curve.size)
    for edge in (spread.mean_curve - spread.sd_curve, spread.mean_curve + spread.sd_curve):
        axes.plot(percent, edge, color=INK, linewidth=0.7, linestyle=LIMIT_DASH, label="± SD")
    axes.plot(percent, spread.mean_curve, color=INK, linewidth=1.0, label="mean")
    axes.set_xlim(0, 100)


def _name_cycles(axes: Axes) -> None:
    """Add a key of the kinds of line, each once; thin pale ones show as their colour is."""
    lines, names = axes.get_legend_handles_labels()
    found = dict(zip(names, lines, strict=True))
    key = axes.legend(found.values(), found.keys(), loc="best")
    for line in key.get_lines():
        line.set(alpha=1, linewidth=1.0)


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


def _draw_difference(axes: Axes, trials: Sequence[TrialResult]) -> None:
    """Draw the difference of the mean curves, offset taken out, for every procedure."""
    for k, result in enumerate(trials):
        agreement = result.agreement
        if agreement is None:
            continue
        difference = agreement.test_mean - agreement.reference_mean - agreement.offset
        axes.plot(
            np.linspace(0, 100, difference.size),
            difference,
            color=procedure_style(k)[0],
            linestyle=procedure_style(k)[2],
            label=_name(result.procedure),
        )
    axes.axhline(0, color=FAINT, linewidth=0.5)


def _name(under: str) -> str:
    """Return what is drawn without its wearable, which the page names."""
    _, procedure, reference = parts_of(under)
    return shortened(under_test("", procedure, reference), LONGEST)


def _draw_sd_curves(axes: Axes, trials: Sequence[TrialResult]) -> None:
    """Draw the wearable's SD over cycles at each point, for every procedure."""
    for k, result in enumerate(trials):
        if result.wearable_variability is None:
            continue
        curve = result.wearable_variability.sd_curve
        axes.plot(
            np.linspace(0, 100, curve.size),
            curve,
            color=procedure_style(k)[0],
            linestyle=procedure_style(k)[2],
            label=_name(result.procedure),
        )
    axes.set_ylim(bottom=0)


def _name_procedures(axes: Axes, n: int) -> None:
    """Add a legend where more than one procedure is drawn, with room for it.

    A name that is longer than the panel is shortened; two stand side by side where both fit.
    """
    lines, names = axes.get_legend_handles_labels()
    if len(names) > 1:
        room = size_mm(axes)[0] / type_scale()
        most = max(int((room - _KEY_MM) / _LETTER_MM), 4)
        names = [shortened(name, most) for name in names]
        beside = sum(_KEY_MM + _LETTER_MM * len(name) for name in names) <= room
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.28 * (high - low))
        axes.legend(
            lines, names, loc="upper left", ncols=2 if n <= 2 and beside else 1, handlelength=1.6
        )


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
