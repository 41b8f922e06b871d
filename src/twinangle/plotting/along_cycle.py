"""Figures of the difference along the cycle."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    INK,
    LIMIT_DASH,
    MARGIN,
    MARGIN_DASH,
    REFERENCE,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
    panel_width,
)
from twinangle.results import StudyResults, named
from twinangle.results.grouping import distinct
from twinangle.wording import file_name, shortened, stated


def draw_along_cycle(results: StudyResults) -> tuple[Drawn, ...]:
    """Return one figure a condition: limits at every point, a panel a procedure (three at most)."""
    drawn = []
    found = named(results.along_cycle)
    for condition in distinct(name[1] for name, _ in found):
        members = [item for item in found if item[0][1] == condition][:3]
        figure = new_figure(DOUBLE_MM, 54)
        width = panel_width(len(members))
        for k, ((procedure, *_), both) in enumerate(members):
            axes = add_panel(figure, 13 + (width + 7) * k, 9, width, 39)
            _draw_functional(axes, both.limits, both.difference, results.options.margin_deg)
            letter(axes, f"{'abc'[k]} {shortened(procedure, 24)}")
            if k == 0:
                axes.set_ylabel("Wearable − reference (°)")
        confidence = f"{100 * members[0][1].limits.confidence:g} %"
        caption = (
            f"Difference along the cycle, {condition}: mean over participants (line) with its "
            f"whole-curve {confidence} band, limits of agreement at each point (dashed)"
            f"{_margin(results)}. Bars at the foot: where the instruments differ, the whole cycle "
            "tested as one family."
        )
        name = file_name("along-cycle", condition)
        drawn.append(Drawn(name, figure, caption, f"Difference along the cycle, {condition}."))
    return tuple(drawn)


def _margin(results: StudyResults) -> str:
    """Say how the margin is drawn, where one was stated."""
    margin = results.options.margin_deg
    return "" if margin is None else f", the margin of ±{stated(margin)}° (dash-dotted)"


def _draw_functional(
    axes: Axes, limits: FunctionalLimits, difference: CurveDifference, margin: float | None
) -> None:
    """Draw bias with its band, limits, the margin, and where the instruments differ."""
    percent = np.linspace(0, 100, limits.bias.size)
    band = limits.bias_band
    axes.fill_between(percent, band.lower, band.upper, color=WEARABLE, alpha=0.2, linewidth=0)
    axes.plot(percent, limits.bias, color=WEARABLE, label="bias")
    for curve in (limits.lower, limits.upper):
        axes.plot(percent, curve, color=INK, linewidth=0.8, linestyle=LIMIT_DASH, label="limit")
    axes.axhline(0, color=INK, linewidth=0.5)
    reach = 1.1 * max(np.abs([limits.lower, limits.upper, band.lower, band.upper]).max(), 0.1)
    if margin is not None and margin < 2.5 * reach:
        reach = max(reach, 1.1 * margin)
        for level in (-margin, margin):
            axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
    axes.set(xlim=(0, 100), ylim=(-reach, reach), xlabel="Cycle (%)")
    for first, last in difference.regions:
        axes.axvspan(percent[first], percent[last], ymax=0.03, color=REFERENCE, linewidth=0)
    few_ticks(axes, x=4, y=5)
