"""Figures that look behind the numbers: along the cycle, error budget, contest, magnetic field."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.agreement.budget import PooledBudget
from twinangle.agreement.ranking import Contest
from twinangle.report.figures_trial import Drawn
from twinangle.report.grouping import conditions, distinct, trial_groups
from twinangle.report.style import (
    COLOURS,
    DOUBLE_MM,
    FAINT,
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
)
from twinangle.report.wording import file_name, shortened, stated
from twinangle.results import SensorRecord, StudyResults

PARTS = {
    "offset": "offset",
    "range": "range",
    "timing": "timing",
    "shared": "pattern, range or timing",
    "pattern": "repeating pattern",
    "slow_drift": "slow drift",
    "cycle_offset": "offset of single cycles",
    "cycle_range": "range of single cycles",
    "cycle_timing": "timing of single cycles",
    "random": "rest, cycle to cycle",
}
PART_COLOURS = (
    "#17508f", "#4f9bd9", "#dd8316", "#eec78e", "#c79a10",
    "#5a6b7b", "#8fa0b0", "#b7a5cf", "#8d6fb0", "#d5d8dc",
)  # fmt: skip
FIELD_LINES = 60  # recordings drawn in one panel at most


def _panel_width(n: int) -> float:
    """Return the width in millimetres of each of `n` panels side by side."""
    return {1: 90.0, 2: 77.0}.get(n, 49.0)


# ---------------------------------------------------------------- along the cycle


def draw_along_cycle(results: StudyResults) -> tuple[Drawn, ...]:
    """Return one figure a condition: limits at every point, a panel a procedure (three at most)."""
    drawn = []
    for condition in distinct(item[1] for item in results.along_cycle):
        members = [item for item in results.along_cycle if item[1] == condition][:3]
        figure = new_figure(DOUBLE_MM, 54)
        width = _panel_width(len(members))
        for k, (procedure, _, limits, difference) in enumerate(members):
            axes = add_panel(figure, 13 + (width + 7) * k, 9, width, 39)
            _draw_functional(axes, limits, difference, results.options.margin_deg)
            letter(axes, f"{'abc'[k]} {shortened(procedure, 24)}")
            if k == 0:
                axes.set_ylabel("Wearable − reference (°)")
        confidence = f"{100 * members[0][2].confidence:g} %"
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


# ---------------------------------------------------------------- error budget


def draw_budgets(results: StudyResults) -> Drawn | None:
    """Draw the parts of the mean squared difference, one stacked bar a procedure and condition."""
    rows = results.budgets
    if not rows:
        return None
    figure = new_figure(DOUBLE_MM, 26 + 7 * len(rows))
    axes = add_panel(figure, 40, 9, 132, 4 + 7 * len(rows))
    _draw_stack(axes, [budget for *_, budget in rows])
    labels = [f"{shortened(name, 14)}, {shortened(condition, 14)}" for name, condition, _ in rows]
    axes.set_yticks(range(len(rows)), labels)
    axes.set_xlabel("Mean squared difference (deg²)")
    few_ticks(axes, x=7, y=None)
    figure.legend(
        handles=axes.get_legend_handles_labels()[0],
        loc="upper left", bbox_to_anchor=(0.01, 1.0), ncols=len(PARTS) // 2, handlelength=1.0,
    )  # fmt: skip
    caption = (
        "Error budget: parts of the mean squared difference over all cycles, mean over "
        "participants; the parts add up to the whole. Blue to yellow: what repeats every cycle; "
        "the light one fits a difference of range or a delay only in part of the cycle. Grey and "
        "violet: what differs from cycle to cycle."
    )
    return Drawn("error_budget", figure, caption, "Parts of the mean squared difference.")


def _draw_stack(axes: Axes, budgets: Sequence[PooledBudget]) -> None:
    """Draw one horizontal bar a budget, a colour a part."""
    places, start = np.arange(len(budgets)), np.zeros(len(budgets))
    for (part, name), colour in zip(PARTS.items(), PART_COLOURS, strict=True):
        width = np.array([getattr(budget, part) for budget in budgets])
        axes.barh(
            places, width, left=start, height=0.62, color=colour, edgecolor="white", linewidth=0.5,
            label=name,
        )  # fmt: skip
        start = start + width
    axes.set_ylim(len(budgets) - 0.4, -0.6)


# ---------------------------------------------------------------- contest


def draw_contests(results: StudyResults) -> tuple[Drawn, ...]:
    """Return one figure a condition in which procedures are ranked."""
    return tuple(draw_contest(condition, contest) for condition, contest in results.contests)


def draw_contest(condition: str, contest: Contest) -> Drawn:
    """Draw the procedures' means in order, and every paired difference with its interval."""
    pairs = contest.differences
    height = max(16.0, 6.0 * max(len(pairs), len(contest.standings)))
    figure = new_figure(DOUBLE_MM, height + 15)
    means = add_panel(figure, 28, 9, 50, height)
    paired = add_panel(figure, 122, 9, 52, height)
    for k, place in enumerate(contest.standings):
        means.plot([place.mean], [k], "o", color=COLOURS[k % len(COLOURS)])
    means.set_yticks(
        range(len(contest.standings)),
        [f"{place.rank}. {shortened(place.procedure, 16)}" for place in contest.standings],
    )
    widest = max(place.mean for place in contest.standings)
    means.set(xlim=(0, 1.15 * widest or 1.0), ylim=(len(contest.standings) - 0.5, -0.5))
    means.set_xlabel("RMS demeaned (°)")
    for k, pair in enumerate(pairs):
        colour = FAINT if pair.tied else WEARABLE
        paired.plot([pair.difference], [k], "o", color=colour)
        if np.isfinite([pair.lower, pair.upper]).all():
            paired.plot([pair.lower, pair.upper], [k, k], color=colour)
    names = [f"{shortened(pair.first, 13)} − {shortened(pair.second, 13)}" for pair in pairs]
    paired.set_yticks(range(len(pairs)), names)
    paired.set_ylim(len(pairs) - 0.5, -0.5)
    paired.axvline(0, color=REFERENCE, linewidth=0.6, linestyle=LIMIT_DASH)
    paired.set_xlabel("Paired difference (°)")
    letter(means, "a Rank and arithmetic mean")
    letter(paired, "b Every pair")
    few_ticks(means, x=4, y=None)
    few_ticks(paired, x=4, y=None)
    caption = (
        f"Procedures on the same trials, {condition}: (a) arithmetic mean over participants, equal "
        "ranks are ties; (b) paired differences, intervals that hold together at "
        f"{100 * contest.confidence:g} %; grey: tied."
    )
    return Drawn(file_name("contest", condition), figure, caption, f"Procedures, {condition}.")


# ---------------------------------------------------------------- magnetic field


def draw_fields(results: StudyResults) -> Drawn | None:
    """Draw the field's deviation at both sensors over time, a panel a condition (three at most)."""
    known = {
        condition: records
        for condition in conditions(results)
        if (records := _field_records(results, condition))
    }
    if not known:
        return None
    figure = new_figure(DOUBLE_MM, 50)
    panels, width = [], _panel_width(min(len(known), 3))
    for k, (condition, records) in enumerate(list(known.items())[:3]):
        axes = add_panel(figure, 13 + (width + 7) * k, 9, width, 34)
        for record in records[:FIELD_LINES]:
            near = record.segment == "proximal"
            axes.plot(
                record.time_s - record.time_s[0], 100 * record.norm_deviation, linewidth=0.5,
                color=WEARABLE if near else REFERENCE, alpha=0.8, label=record.segment,
            )  # fmt: skip
        for level in (-10, 10):
            axes.axhline(level, color=INK, linewidth=0.5, linestyle=LIMIT_DASH)
        axes.set_xlabel("Time (s)")
        letter(axes, f"{'abc'[k]} {shortened(condition, 28)}")
        few_ticks(axes, x=4, y=5)
        panels.append(axes)
    panels[0].set_ylabel("Deviation of the norm (%)")
    _same_height(panels)
    handles, labels = panels[0].get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    figure.legend(
        handles=list(once.values()), loc="upper right", bbox_to_anchor=(0.99, 1.0), ncols=2
    )
    caption = (
        "Magnetic field at the sensors: deviation of its norm from the undisturbed value, mean of "
        "each second, every recording; beyond the dashed lines a sample counts as disturbed."
    )
    return Drawn("magnetic_field", figure, caption, "Deviation of the magnetic field's norm.")


def _field_records(results: StudyResults, condition: str) -> list[SensorRecord]:
    """Return the sensors of a condition that tell of the field."""
    return [
        record
        for group in trial_groups(results)
        if group.main.condition == condition
        for record in group.main.sensors
        if record.field is not None and record.time_s.size
    ]


def _same_height(panels: Sequence[Axes]) -> None:
    """Give panels side by side one vertical scale."""
    lows, highs = zip(*(axes.get_ylim() for axes in panels), strict=True)
    for axes in panels:
        axes.set_ylim(min(lows), max(highs))


# ---------------------------------------------------------------- all of them

# What this module draws, in the order of the report; each is drawn in a process of its own.
DEPTH: tuple[Callable[[StudyResults], Drawn | tuple[Drawn, ...] | None], ...] = (
    draw_along_cycle,
    draw_budgets,
    draw_contests,
    draw_fields,
)


def draw_depth(results: StudyResults) -> tuple[Drawn, ...]:
    """Return all of them that the run has numbers for."""
    found = [draw(results) for draw in DEPTH]
    several = [each if isinstance(each, tuple) else (each,) for each in found]
    return tuple(figure for each in several for figure in each if figure is not None)
