"""Figure of a recording of a day or a week: bouts, strides hour by hour, cadence."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from twinangle.cycles.daily_life import BinOfStrides, DailyLife
from twinangle.plotting.alternatives import of_daily_life
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    BAND,
    DOUBLE_MM,
    INK,
    POINT,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.plotting.onto import on_axes, part_of, trial_of
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import key_with_wearable
from twinangle.wording import file_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BARS_AS_VECTORS = 400


def draw_daily_life(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Draw one figure a long recording and wearable, of its first procedure."""
    first: dict[object, TrialResult] = {}
    for trial in results.trials:
        if trial.daily is not None and trial.daily.bouts:
            first.setdefault(key_with_wearable(trial), trial)
    return tuple(_drawn(trial, width_mm) for trial in first.values())


def _drawn(trial: TrialResult, width_mm: float) -> Drawn:
    daily = part_of(trial, trial.daily, "daily life")
    figure, (top, middle, bottom) = _panels(width_mm)
    plot_bouts(daily, top)
    plot_strides_by_hour(daily, middle)
    plot_cadences(daily, bottom)
    for axes, name in ((top, "a Bouts"), (middle, "b Strides by hour"), (bottom, "c Cadence")):
        letter(axes, name)
    seen = (
        " Band: the middle 95 % of the ranges of strides with a reference; dark part of a bar: "
        "those strides; agreement was measured there alone."
        if daily.beyond is not None
        else ""
    )
    caption = (
        f"Walking in daily life, {trial.label} ({trial.procedure}). a: median range of motion of "
        "each bout over the hours of the recording; b: kept strides of the bouts that begin in "
        "each hour; "
        f"c: kept strides by their cadence.{seen}"
    )
    return Drawn(
        file_name("daily-life", *key_with_wearable(trial)), figure, caption, of_daily_life(daily)
    )


def plot_bouts(result: TrialResult | DailyLife, ax: Axes | None = None) -> Axes:
    """Draw each bout's median range of motion over the hours of a long recording.

    A band shows the middle 95 % of the ranges that strides with a reference had.

    Parameters
    ----------
    result : TrialResult or DailyLife
        Of a recording that was read in stretches.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial is no long recording.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_bouts(results.trials[0])
    """
    daily = _daily_of(result)
    hours = [bout.start_s / 3600.0 for bout in daily.bouts]
    ranges = [bout.range_deg for bout in daily.bouts]
    with on_axes(ax) as axes:
        if daily.beyond is not None:
            axes.axhspan(
                daily.beyond.low_range_deg, daily.beyond.high_range_deg, color=BAND, linewidth=0
            )
        axes.plot(
            hours, ranges, "o", color=INK, markersize=1.8, markeredgewidth=0, alpha=0.6,
            rasterized=len(hours) > BARS_AS_VECTORS,
        )  # fmt: skip
        axes.set(xlabel="Time (h)", ylabel="Range of motion (°)")
        few_ticks(axes)
    return axes


def plot_strides_by_hour(result: TrialResult | DailyLife, ax: Axes | None = None) -> Axes:
    """Draw how many kept strides the bouts have that begin in each hour of a long recording.

    Parameters
    ----------
    result : TrialResult or DailyLife
        Of a recording that was read in stretches.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial is no long recording.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_strides_by_hour(results.trials[0])
    """
    daily = _daily_of(result)
    begins = [math.floor(bout.start_s / 3600.0) for bout in daily.bouts]
    first, last = min(begins, default=0), max(begins, default=0)
    strides = np.zeros(max(last - first + 1, math.ceil(daily.duration_h)))
    for hour, bout in zip(begins, daily.bouts, strict=True):
        strides[hour - first] += bout.n_strides
    with on_axes(ax) as axes:
        hours = first + np.arange(strides.size)
        axes.bar(hours, strides, width=1.0, align="edge", color=POINT, linewidth=0)
        axes.set(xlabel="Time (h)", ylabel="Strides (1/h)", ylim=(0, None))
        few_ticks(axes)
    return axes


def plot_cadences(result: TrialResult | DailyLife, ax: Axes | None = None) -> Axes:
    """Draw how many strides lie in each bin of cadence, those with a reference dark.

    Parameters
    ----------
    result : TrialResult or DailyLife
        Of a recording that was read in stretches.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the trial is no long recording.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_cadences(results.trials[0])
    """
    bins = [one for one in _daily_of(result).bins if one.by == "cadence"]
    places = range(len(bins))
    with on_axes(ax) as axes:
        axes.bar(places, [one.n_strides for one in bins], width=0.8, color=POINT)
        axes.bar(places, [one.n_with_reference for one in bins], width=0.8, color=INK)
        axes.set(xlabel="Cadence (strides/min)", ylabel="Strides", ylim=(0, None))
        few_ticks(axes, x=None)
        axes.set_xticks(list(places), [_edges(one) for one in bins])
    return axes


def _panels(width_mm: float) -> tuple[Figure, list[Axes]]:
    """Return the figure and its three panels, each with room for its own scale."""
    if is_narrow(width_mm):
        tall = 48.0
        figure = new_figure(width_mm, 3 * tall + 2)
        bottoms = [9 + (2 - k) * tall for k in range(3)]
        return figure, [add_panel(figure, 14, b, width_mm - 18, 32) for b in bottoms]
    each = (width_mm - 14 - 3 - 2 * 15) / 3
    figure = new_figure(width_mm, 54)
    return figure, [add_panel(figure, 14 + k * (each + 15), 9, each, 38) for k in range(3)]


def _edges(one: BinOfStrides) -> str:
    if not math.isfinite(one.high):
        return f"≥ {one.low:g}"
    return f"< {one.high:g}" if one.low == 0 else f"{one.low:g}–{one.high:g}"


def _daily_of(result: TrialResult | DailyLife) -> DailyLife:
    if isinstance(result, DailyLife):
        return result
    trial = trial_of(result)
    return part_of(trial, trial.daily, "daily life")
