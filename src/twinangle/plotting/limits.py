"""Figures of the limits of agreement: Bland-Altman plots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    INK,
    LIMIT_DASH,
    MARGIN,
    MARGIN_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
    participant_style,
)
from twinangle.results import Pooled, StudyLimits, StudyResults, given
from twinangle.results.grouping import participants
from twinangle.wording import NO_MARGIN, file_name, number, quantity_name, shortened, stated

KEYED_PARTICIPANTS = 24  # more than this and the key is left out
POINTS_AS_VECTORS = 4000  # more points than this in a panel are drawn as an image


def draw_limits(results: StudyResults) -> tuple[Drawn, ...]:
    """Return one figure a procedure and condition: a panel a quantity."""
    groups: dict[tuple[str, str], list[tuple[Pooled[StudyLimits], StudyLimits]]] = {}
    for pooled, found in given(results.limits):
        if found.difference.size:
            groups.setdefault((pooled.procedure, pooled.condition), []).append((pooled, found))
    everyone = participants(results)
    return tuple(
        _draw_limits_row(results, members[:3], everyone) for members in groups.values() if members
    )


def _draw_limits_row(
    results: StudyResults,
    members: Sequence[tuple[Pooled[StudyLimits], StudyLimits]],
    everyone: Sequence[str],
) -> Drawn:
    """Draw the Bland-Altman plots of one procedure and condition side by side."""
    first, _ = members[0]
    present = [code for code in everyone if any(code in each.participant for _, each in members)]
    keyed = len(present) <= KEYED_PARTICIPANTS
    rows = -(-len(present) // 8) if keyed else 0
    figure = new_figure(DOUBLE_MM, 60 + 4 * rows)
    for k, (pooled, found) in enumerate(members):
        axes = add_panel(figure, 12 + 57 * k, 9 + 4 * rows, 40, 44)
        _draw_limits_panel(axes, found, everyone, results.options.margin_deg)
        letter(axes, f"{'abc'[k]} {quantity_name(pooled.quantity)}")
        if k == 0:
            axes.set_ylabel("Wearable − reference (°)")
    if keyed:
        figure.legend(
            handles=[_participant_mark(code, everyone) for code in present],
            loc="lower center", ncols=8, bbox_to_anchor=(0.5, 0), handletextpad=0.2,
            columnspacing=1.0,
        )  # fmt: skip
    name = file_name("limits", first.procedure, first.condition)
    return Drawn(
        name,
        figure,
        _limits_caption(results, first, keyed=keyed),
        f"Bland-Altman plots, {first.procedure}, {first.condition}.",
    )


def _limits_caption(results: StudyResults, pooled: Pooled[StudyLimits], *, keyed: bool) -> str:
    """Say what the lines and bands of a Bland-Altman plot are."""
    return (
        f"Bland-Altman plots, {pooled.condition}, {pooled.procedure}: one point a cycle, "
        f"{'marked by participant' if keyed else 'colour and mark by participant (not keyed)'}. "
        f"Solid: bias; dashed: limits of agreement; bands: "
        f"{results.options.level} intervals{_margin(results)}."
    )


def _margin(results: StudyResults) -> str:
    """Say how the margin is drawn, where one was stated."""
    margin = results.options.margin_deg
    if margin is None:
        return f"; {NO_MARGIN}"
    return f"; dash-dotted: the margin of ±{stated(margin)}° set beforehand"


def _participant_mark(code: str, everyone: Sequence[str]) -> Line2D:
    """Return a participant's entry in the key."""
    colour, marker = participant_style(code, everyone)
    return Line2D([], [], linestyle="", color=colour, marker=marker, label=shortened(code, 14))


def _draw_limits_panel(
    axes: Axes, found: StudyLimits, everyone: Sequence[str], margin: float | None
) -> None:
    """Draw one Bland-Altman plot: points, bias, limits, their bands, and the margin."""
    codes = np.array(found.participant)
    size, difference = found.size, found.difference
    for code in everyone:
        mine = codes == code
        if mine.any():
            colour, marker = participant_style(code, everyone)
            axes.plot(
                size[mine], difference[mine], linestyle="", marker=marker, color=colour,
                markersize=2.2, alpha=0.75, markeredgewidth=0,
                rasterized=size.size > POINTS_AS_VECTORS, label=code,
            )  # fmt: skip
    low, high = float(difference.min()), float(difference.max())
    low, high = _draw_lines(axes, found.limits, low, high)
    reach = max(abs(low), abs(high))
    if margin is not None and margin <= 2.5 * reach:
        low, high = min(low, -margin), max(high, margin)
        for level in (-margin, margin):
            axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
    pad = 0.06 * (high - low) or 1.0
    axes.set_ylim(low - pad, high + pad)
    _name_lines(axes, found.limits)
    axes.set_xlabel("Mean of both (°)")
    few_ticks(axes, x=4, y=6)


def _draw_lines(
    axes: Axes, limits: LimitsOfAgreement, low: float, high: float
) -> tuple[float, float]:
    """Draw bias and limits with their intervals; return the reach of what is drawn."""
    ends: tuple[float, float]
    for level, ends, dash, colour in (
        (limits.upper, limits.upper_ci, LIMIT_DASH, WEARABLE),
        (limits.bias, limits.bias_ci, "solid", INK),
        (limits.lower, limits.lower_ci, LIMIT_DASH, WEARABLE),
    ):
        if not np.isfinite(level):
            continue
        axes.axhline(level, color=colour, linewidth=0.9, linestyle=dash)
        low, high = min(low, level), max(high, level)
        if np.isfinite(ends).all():
            axes.axhspan(*ends, color=colour, alpha=0.1, linewidth=0)
            low, high = min(low, ends[0]), max(high, ends[1])
    return low, high


def _name_lines(axes: Axes, limits: LimitsOfAgreement) -> None:
    """Write the values of bias and limits beside the axes, each clear of the others."""
    bottom, top = axes.get_ylim()
    gap = 0.075 * (top - bottom)  # one line of type
    for level, colour, away in (
        (limits.upper, WEARABLE, gap),
        (limits.bias, INK, 0.0),
        (limits.lower, WEARABLE, -gap),
    ):
        if not np.isfinite(level):
            continue
        clear = limits.bias + away
        place = max(level, clear) if away > 0 else min(level, clear) if away < 0 else level
        axes.annotate(
            f"{number(level)}°", (1.03, place), xycoords=("axes fraction", "data"), va="center",
            ha="left", color=colour, annotation_clip=False,
        )  # fmt: skip
