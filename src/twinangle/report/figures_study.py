"""Figures over all trials: the numbers at a glance, limits of agreement, conditions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.report.figures_trial import Drawn
from twinangle.report.grouping import conditions, participants, procedures
from twinangle.report.style import (
    COLOURS,
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    MARGIN,
    MARGIN_DASH,
    MARKERS,
    REFERENCE,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
)
from twinangle.report.wording import NO_MARGIN, file_name, number, shortened, stated
from twinangle.results import Pooled, StudyLimits, StudyResults, TrialResult, given, named

QUANTITIES = {
    "mean_deg": "Mean over cycle",
    "peak_flexion_deg": "Peak flexion",
    "range_deg": "Range over cycle",
}
KEYED_PARTICIPANTS = 24  # more than this and the key is left out
POINTS_AS_VECTORS = 4000  # more points than this in a panel are drawn as an image


def quantity_name(quantity: str) -> str:
    """Return a quantity's name for headings, without its unit."""
    return QUANTITIES.get(quantity, quantity.removesuffix("_deg").replace("_", " ").capitalize())


# ---------------------------------------------------------------- the numbers at a glance


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


# ---------------------------------------------------------------- limits of agreement


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


def _mark(code: str, everyone: Sequence[str]) -> tuple[str, str]:
    """Return a participant's colour and marker, the same in every figure."""
    k = everyone.index(code)
    return COLOURS[k % len(COLOURS)], MARKERS[k % len(MARKERS)]


def _participant_mark(code: str, everyone: Sequence[str]) -> Line2D:
    """Return a participant's entry in the key."""
    colour, marker = _mark(code, everyone)
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
            colour, marker = _mark(code, everyone)
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


# ---------------------------------------------------------------- conditions


def draw_conditions(results: StudyResults) -> Drawn | None:
    """Draw per-cycle SD by condition for each participant, differences and ratios."""
    rows = [
        (procedure, item)
        for (procedure, _, quantity), item in named(results.conditions)
        if quantity == "wearable_sd_deg"
    ]
    if not rows:
        return None
    figure = new_figure(DOUBLE_MM, max(50, 18 + 8 * len(rows)))
    height = figure.get_size_inches()[1] * 25.4 - 17
    paired = add_panel(figure, 13, 9, 52, height)
    _draw_paired(paired, results)
    letter(paired, "a Wearable's per-cycle SD")
    paired.set_ylabel("SD over cycles (°)")
    for left, what, title, label in (
        (103.0, "difference", "b Difference", "Difference of SD (°)"),
        (143.0, "ratio", "c Ratio", "Ratio of SD"),
    ):
        axes = add_panel(figure, left, 9, 33, height)
        _draw_forest(axes, rows, what, named=what == "difference")
        letter(axes, title)
        axes.set_xlabel(label)
    first = procedures(results)[0]
    caption = (
        f"(a) The wearable's per-cycle SD by condition, {first}: one mark a trial, lines join a "
        f"participant's. (b, c) Paired difference and ratio over participants with "
        f"{results.options.level} intervals."
    )
    return Drawn("conditions", figure, caption, "Per-cycle SD by condition.")


def _draw_paired(axes: Axes, results: StudyResults) -> None:
    """Draw each participant's SDs, joined over the conditions, for the main procedure."""
    columns, everyone = conditions(results), participants(results)
    main = procedures(results)[0]
    for code in everyone:
        points = [
            (columns.index(trial.condition), trial.wearable_variability.sd)
            for trial in results.trials
            if trial.participant == code
            and trial.procedure == main
            and trial.wearable_variability is not None
        ]
        if points:
            colour, marker = _mark(code, everyone)
            x, y = zip(*sorted(points), strict=True)
            axes.plot(x, y, color=colour, marker=marker, linewidth=0.7, label=code)
    axes.set_xlim(-0.4, len(columns) - 0.6)
    axes.set_ylim(bottom=0)
    limit = max(6, 40 // len(columns))
    axes.set_xticks(range(len(columns)), [shortened(name or "–", limit) for name in columns])
    few_ticks(axes, x=None, y=5)


def _draw_forest(
    axes: Axes, rows: Sequence[tuple[str, ConditionDifference]], what: str, *, named: bool
) -> None:
    """Draw one number of each comparison with its interval, a row each."""
    for k, (_, row) in enumerate(rows):
        value, ends = getattr(row, what), getattr(row, f"{what}_ci")
        if np.isfinite(value):
            axes.plot([value], [k], "o", color=WEARABLE)
        if np.isfinite(ends).all():
            axes.plot(ends, [k, k], color=WEARABLE, linewidth=1.0)
    none = 0.0 if what == "difference" else 1.0
    axes.axvline(none, color=REFERENCE, linewidth=0.6, linestyle=(0, (3, 1.5)))
    axes.set_ylim(len(rows) - 0.4, -0.6)
    labels = [
        f"{shortened(name, 16)}\n{shortened(row.condition, 14)} − {shortened(row.against, 14)}"
        for name, row in rows
    ]
    axes.set_yticks(range(len(rows)), labels if named else [""] * len(rows))
    few_ticks(axes, x=4, y=None)
