"""Figures of the difference along the cycle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.plotting.alternatives import of_along_cycle
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    BAND,
    DOUBLE_MM,
    INK,
    LIMIT_DASH,
    MARGIN,
    MARGIN_DASH,
    few_ticks,
    is_narrow,
    letter,
    panel_row,
    share_axes,
)
from twinangle.plotting.onto import on_axes, value_of
from twinangle.results import AlongCycle, Pooled, StudyResults, named
from twinangle.results.grouping import distinct
from twinangle.wording import file_name, in_lines, stated

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch


def draw_along_cycle(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Return one figure a condition: limits at every point, a panel a procedure (three at most)."""
    drawn = []
    found = named(results.along_cycle)
    for condition in distinct(name[1] for name, _ in found):
        members = [item for item in found if item[0][1] == condition][:3]
        titles = [in_lines(name[0], 24) for name, _ in members]
        lines = max(title.count("\n") for title in titles)
        head = (17.0 if is_narrow(width_mm) else 10.0) + 3.0 * lines
        figure, panels = panel_row(width_mm, len(members), 39, head_mm=head)
        margin = results.options.margin_deg
        reach, shown = _reach([both for _, both in members], margin)
        for k, (axes, (_, both)) in enumerate(zip(panels, members, strict=True)):
            heights = (-reach, reach)
            plot_along_cycle(both, axes, margin_deg=shown, heights=heights, legend=False)
            letter(axes, f"{'abc'[k]} {titles[k]}")
        share_axes(panels, width_mm=width_mm)
        confidence = f"{100 * members[0][1].limits.confidence:g} %"
        regions = any(both.difference.regions for _, both in members)
        narrow = is_narrow(width_mm)
        figure.legend(
            handles=_handles(confidence, margin=shown is not None, regions=regions),
            loc="upper left", ncols=2 if narrow else 5,
            bbox_to_anchor=(0.02 if narrow else 0.07, 1.0),
        )  # fmt: skip
        caption = (
            f"Difference along the cycle, {condition}: the grey band is about the mean over "
            f"participants and holds along the whole cycle ({confidence}); single cycles lie "
            "between the limits of agreement, which hold at each point by itself"
            f"{_margin(margin, shown)}."
            + (
                " Bars at the foot: where the instruments differ, the whole cycle tested as one "
                "family."
                if regions
                else ""
            )
        )
        name = file_name("along-cycle", condition)
        said = of_along_cycle([(key[0], both) for key, both in members])
        drawn.append(Drawn(name, figure, caption, said))
    return tuple(drawn)


def plot_along_cycle(
    result: Pooled[AlongCycle] | AlongCycle,
    ax: Axes | None = None,
    *,
    margin_deg: float | None = None,
    heights: tuple[float, float] | None = None,
    legend: bool = True,
) -> Axes:
    """Draw the mean difference at every point of the cycle, its band, and the limits of agreement.

    The grey band is of the mean and holds along the whole cycle; single cycles lie between the
    dashed limits, which hold at each point by itself. Bars at the foot: where the instruments
    differ.

    Parameters
    ----------
    result : Pooled or AlongCycle
        Of four participants or more.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    margin_deg : float, optional
        The margin stated beforehand, as `results.acceptable_deg`; drawn where it is near enough, or
        `heights` are given.
    heights : (float, float), optional
        Ends of the vertical axis, as of another panel; without them, of what is drawn.
    legend : bool
        Whether lines and bands are named.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_along_cycle(results.along_cycle[0])
    """
    both = value_of(result, AlongCycle, "`results.along_cycle[0]`")
    reach, shown = _reach([both], margin_deg)
    if heights is None:
        heights = (-reach, reach)
    else:
        shown = margin_deg
    with on_axes(ax) as axes:
        _draw_functional(axes, both.limits, both.difference, shown)
        axes.set(xlim=(0, 100), ylim=heights, xlabel="Cycle (%)")
        axes.set_ylabel("Wearable − reference (°)")
        few_ticks(axes, x=4, y=5)
        if legend:
            confidence = f"{100 * both.limits.confidence:g} %"
            regions = bool(both.difference.regions)
            handles = _handles(confidence, margin=shown is not None, regions=regions)
            axes.legend(handles=handles, loc="best")
    return axes


def _margin(margin: float | None, shown: float | None) -> str:
    """Say how the margin is drawn, where one was stated."""
    if margin is None:
        return ""
    return f"; the margin is ±{stated(margin)}°" + ("" if shown is not None else ", outside")


def _reach(members: Sequence[AlongCycle], margin: float | None) -> tuple[float, float | None]:
    """Return the height that all panels share, and the margin where it is near enough."""
    curves = [
        curve
        for both in members
        for curve in (
            both.limits.lower,
            both.limits.upper,
            both.limits.bias_band.lower,
            both.limits.bias_band.upper,
        )
    ]
    reach = 1.1 * max(float(np.abs(curves).max()), 0.1)
    if margin is None or margin >= 2.5 * reach:
        return reach, None
    return max(reach, 1.1 * margin), margin


def _draw_functional(
    axes: Axes, limits: FunctionalLimits, difference: CurveDifference, margin: float | None
) -> None:
    """Draw bias with its band, limits, the margin, and where the instruments differ."""
    percent = np.linspace(0, 100, limits.bias.size)
    band = limits.bias_band
    axes.fill_between(percent, band.lower, band.upper, color=BAND, linewidth=0)
    axes.plot(percent, limits.bias, color=INK, linewidth=1.2, label="bias")
    for curve in (limits.lower, limits.upper):
        axes.plot(percent, curve, color=INK, linewidth=0.8, linestyle=LIMIT_DASH, label="limit")
    axes.axhline(0, color=INK, linewidth=0.5)
    for level in () if margin is None else (-margin, margin):
        axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
    for first, last in difference.regions:
        axes.axvspan(percent[first], percent[last], ymax=0.03, color=INK, linewidth=0)


def _handles(confidence: str, *, margin: bool, regions: bool) -> list[Line2D | Patch]:
    """Return what names the lines and bands that are there."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Line2D | Patch] = [
        Line2D([], [], color=INK, linewidth=1.2, label="mean"),
        Patch(color=BAND, linewidth=0, label=f"{confidence} band of the mean"),
        Line2D([], [], color=INK, linewidth=0.8, linestyle=LIMIT_DASH, label="limits of agreement"),
    ]
    if margin:
        handles.append(
            Line2D([], [], color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH, label="margin")
        )
    if regions:
        handles.append(Patch(color=INK, linewidth=0, label="instruments differ"))
    return handles
