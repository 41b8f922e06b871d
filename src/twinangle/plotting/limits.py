"""Figures of the limits of agreement: Bland-Altman plots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.plotting.alternatives import of_limits
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    MARGIN,
    MARGIN_DASH,
    MM,
    POINT,
    SINGLE_MM,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
    participant_marker,
    share_axes,
    spread_out,
    type_scale,
)
from twinangle.plotting.onto import on_axes, size_mm, value_of
from twinangle.results import Pooled, StudyLimits, StudyResults, given
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct, participants
from twinangle.results.instruments import LimitsBetween
from twinangle.results.pooled import Absent
from twinangle.wording import NO_MARGIN, file_name, number, quantity_name, shortened, stated

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAMED_PARTICIPANTS = 12  # more than this and no name stands beside the points
POINTS_AS_VECTORS = 4000  # more points than this in a panel are drawn as an image
ANSWER = "limits-answer"
MOST_ROOM = 0.6  # share of the width for names; where they need more, none stands there
POINTS_PER_MM = 72 / 25.4
OVER_LINES = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}  # a name interrupts them
LINE_MM = 2.9  # height of a line of type
LETTER_MM = 1.45  # width of a letter, on average
BESIDE_MM, BAR_MM = 1.7, 1.9  # from the axes to the lines' names; more for each interval's bar

Limits = tuple[Pooled[StudyLimits], StudyLimits]


@dataclass(frozen=True, slots=True)
class _View:
    """What every panel of a figure shares: the heights, who there is, and the margin."""

    low: float
    high: float
    everyone: tuple[str, ...]
    margin: float | None


def draw_limits(results: StudyResults, width_mm: float | None = None) -> tuple[Drawn, ...]:
    """Return the one panel of the answer, and a figure a procedure and condition of all three.

    Without a width, the panel is for one column of a page, the others for both.
    """
    groups: dict[tuple[str, str], list[Limits]] = {}
    for pooled, found in given(results.limits):
        if found.difference.size:
            groups.setdefault((pooled.procedure, pooled.condition), []).append((pooled, found))
    if not groups:
        return ()
    view = _view(results, [each for members in groups.values() for each in members])
    answer = answer_of(results)
    first = groups.get((answer.procedure, answer.condition), [])[:1]
    return (
        *(_draw_answer(results, each, view, width_mm or SINGLE_MM) for each in first),
        *(
            _draw_limits_row(results, members[:3], view, width_mm or DOUBLE_MM)
            for members in groups.values()
        ),
    )


def _view(results: StudyResults, members: Sequence[Limits]) -> _View:
    """Return one range of heights for all panels, as all are degrees; intervals may leave it."""
    margin = results.options.margin_deg
    low, high, shown = heights_of([found for _, found in members], margin)
    return _View(low, high, participants(results), shown)


def heights_of(
    members: Sequence[StudyLimits], margin: float | None
) -> tuple[float, float, float | None]:
    """Return heights that hold points and limits, and the margin where it is near enough."""
    known = [
        float(each)
        for found in members
        for each in (found.difference.min(), found.difference.max(), found.limits.lower,
                     found.limits.upper)
        if np.isfinite(each)
    ]  # fmt: skip
    low, high = min(known), max(known)
    shown = margin if margin is not None and margin <= 2.5 * max(-low, high) else None
    if shown is not None:
        low, high = min(low, -shown), max(high, shown)
    pad = 0.14 * (high - low) or 1.0
    return low - pad, high + pad, shown


def _draw_answer(results: StudyResults, each: Limits, view: _View, width_mm: float) -> Drawn:
    """Draw the one panel of the first page, for one column of a journal."""
    pooled, found = each
    figure = new_figure(width_mm, 78)
    room = 32.3 + BAR_MM * _bars(found.limits)
    axes = _plot_in_view(found, add_panel(figure, 12, 9, width_mm - room, 63.0), view)
    axes.set_title(quantity_name(pooled.quantity))
    return Drawn(
        ANSWER,
        figure,
        _limits_caption(results, pooled, view, _named(found)),
        of_limits([each]),
    )


def _draw_limits_row(
    results: StudyResults, members: Sequence[Limits], view: _View, width_mm: float
) -> Drawn:
    """Draw the Bland-Altman plots of one procedure and condition side by side."""
    first, _ = members[0]
    figure, panels = row_of_panels(width_mm, [found for _, found in members])
    for k, (axes, (pooled, found)) in enumerate(zip(panels, members, strict=True)):
        _plot_in_view(found, axes, view)
        letter(axes, f"{'abc'[k]} {quantity_name(pooled.quantity)}")
    if not is_narrow(width_mm):
        share_axes(panels, width_mm=width_mm)
    return Drawn(
        file_name("limits", first.procedure, first.condition),
        figure,
        _limits_caption(results, first, view, all(_named(found) for _, found in members)),
        of_limits(members),
    )


def plot_limits(
    result: Pooled[StudyLimits] | StudyLimits | LimitsBetween,
    ax: Axes | None = None,
    *,
    margin_deg: float | None = None,
    participants: Sequence[str] = (),
    heights: tuple[float, float] | None = None,
) -> Axes:
    """Draw a Bland-Altman plot: one point a cycle, bias and limits of agreement.

    Marks tell participants apart; up to twelve are named, a line leading to each one's mean. Bars
    beside the axes are the intervals of bias and limits (an arrow: it reaches further).

    Parameters
    ----------
    result : Pooled, StudyLimits or LimitsBetween
        Limits with the points they are of, as a run gives them; of two wearables or references
        `results.between[0]`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    margin_deg : float, optional
        The margin stated beforehand, as `results.acceptable_deg`; drawn where it is near enough, or
        `heights` are given.
    participants : sequence of str
        Everyone of the study, so that a participant has the same mark in every plot; without them,
        those of this plot.
    heights : (float, float), optional
        Ends of the vertical axis, as of another panel; without them, of what is drawn.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent, or `participants` lacks one of its own.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_limits(results.limits[0], margin_deg=5)
    """
    found = _limits_of(result)
    everyone = tuple(participants) or distinct(found.participant)
    lacking = [code for code in distinct(found.participant) if code not in everyone]
    if lacking:
        raise ValueError(
            f"`participants`: {', '.join(map(repr, everyone))} lack {lacking[0]!r}, who has points "
            "in this plot; everyone in it is accepted, and others beside."
        )
    low, high, shown = heights_of([found], margin_deg)
    if heights is not None:
        (low, high), shown = heights, margin_deg
    with on_axes(ax) as axes:
        _draw_limits_panel(axes, found, _View(low, high, everyone, shown), size_mm(axes))
        axes.set_ylabel(f"{_minus(result)} (°)")
    return axes


def _minus(result: object) -> str:
    if isinstance(result, LimitsBetween):
        return f"{shortened(result.first, 16)} − {shortened(result.second, 16)}"
    return "Wearable − reference"


def _limits_of(result: object) -> StudyLimits:
    """Return limits with their points, or say what would be accepted."""
    where = "`results.limits[0]`"
    if isinstance(result, LimitsBetween):
        name = f"{result.first} − {result.second}"
        pooled = Pooled(name, result.condition, result.quantity, result.points)
        return value_of(pooled, StudyLimits, "`results.between[0]`")
    if isinstance(result, LimitsOfAgreement):
        raise TypeError(
            "Cannot draw LimitsOfAgreement alone, which hold no points; StudyLimits are accepted, "
            f"as {where} (of your own arrays: `run_study(Study.from_angles(...)).limits[0]`)."
        )
    return value_of(cast("Pooled[StudyLimits]", result), StudyLimits, where)


def _plot_in_view(found: StudyLimits, axes: Axes, view: _View) -> Axes:
    """Draw a panel that shares heights, marks and margin with others."""
    return plot_limits(
        found, axes, margin_deg=view.margin, participants=view.everyone,
        heights=(view.low, view.high),
    )  # fmt: skip


def row_of_panels(width_mm: float, members: Sequence[StudyLimits]) -> tuple[Figure, list[Axes]]:
    """Return the figure, and a panel for each, side by side or below each other."""
    n, bars = len(members), BAR_MM * max(_bars(found.limits) for found in members)
    if is_narrow(width_mm):
        size, tall = (width_mm - 32.3 - bars, 46.0), 61.0
        figure = new_figure(width_mm, n * tall)
        places = [(12.0, 9 + (n - 1 - k) * tall) for k in range(n)]
    else:
        step = (width_mm - 11.5) / 3
        size = (step - 19.8 - bars, 57.0)
        figure = new_figure(width_mm, 72)
        places = [(12 + step * k, 9.0) for k in range(n)]
    return figure, [add_panel(figure, *place, *size) for place in places]


def _named(found: StudyLimits) -> bool:
    return len(set(found.participant)) <= NAMED_PARTICIPANTS


def who_is_who(*, named: bool) -> str:
    """Say how a Bland-Altman plot tells participants apart."""
    if named:
        return "a line leads from each name to the participant's mean"
    return "marks by participant, too many to be named"


def _limits_caption(
    results: StudyResults, pooled: Pooled[StudyLimits], view: _View, named: bool
) -> str:
    """Say what points, lines and bars of a Bland-Altman plot are."""
    return (
        f"Bland-Altman plot, {pooled.condition}, {pooled.procedure}: one point a cycle, "
        f"{who_is_who(named=named)}. "
        "Solid line: bias; dashed: limits of agreement"
        f"{bars_told(results, pooled.value)}{_margin(results, view)}."
    )


def bars_told(results: StudyResults, found: StudyLimits | Absent) -> str:
    """Say what the bars beside a Bland-Altman plot are; nothing where there are none."""
    if isinstance(found, Absent) or not _bars(found.limits):
        return ""
    level = results.options.level
    return f"; bars beside them: their {level} intervals (an arrow: it reaches further)"


def _margin(results: StudyResults, view: _View) -> str:
    """Say how the margin is drawn, where one was stated."""
    margin = results.options.margin_deg
    if margin is None:
        return f"; {NO_MARGIN}"
    if view.margin is None:
        return f"; the margin of ±{stated(margin)}° set beforehand lies outside"
    return f"; dash-dotted: the margin of ±{stated(margin)}° set beforehand"


def _draw_limits_panel(
    axes: Axes, found: StudyLimits, view: _View, size_mm: tuple[float, float]
) -> None:
    """Draw one Bland-Altman plot: points, names, lines with their intervals, and the margin."""
    present = [code for code in view.everyone if code in set(found.participant)]
    _draw_points(axes, found, present, view.everyone)
    size = found.size
    low, high = float(size.min()), float(size.max())
    pad = 0.08 * (high - low) or 1.0
    room = _room_for_names(found, size_mm[0]) if _named(found) else 0.0
    named = 0 < room < MOST_ROOM
    room = room if named else 0.0
    right = high + pad + room / (1 - room) * (high - low + 2 * pad)
    axes.set(xlim=(low - pad, right), ylim=(view.low, view.high), xlabel="Mean of both (°)")
    if view.margin is not None:
        for level in (-view.margin, view.margin):
            axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
        _name_margin(axes, view.margin, found.limits, _line_height(view, size_mm))
    _draw_lines(axes, found.limits, view, size_mm)
    if named:
        _name_participants(axes, found, present, size_mm)
    few_ticks(axes, x=4, y=6)


def _draw_points(
    axes: Axes, found: StudyLimits, present: Sequence[str], everyone: Sequence[str]
) -> None:
    """Draw one point a cycle: an artist a participant, or a mark where participants go unnamed."""
    codes = np.array(found.participant)
    groups: dict[str, list[str]] = {}
    for code in present:
        label = code if _named(found) else f"_{participant_marker(code, everyone)}"
        groups.setdefault(label, []).append(code)
    for label, members in groups.items():
        mine = np.isin(codes, members)
        axes.plot(
            found.size[mine], found.difference[mine], linestyle="", color=POINT, markersize=2.2,
            marker=participant_marker(members[0], everyone), markeredgewidth=0, alpha=0.7,
            rasterized=found.size.size > POINTS_AS_VECTORS, label=label,
        )  # fmt: skip


def _name_margin(axes: Axes, margin: float, limits: LimitsOfAgreement, line: float) -> None:
    """Write the margin beside one of its lines, where no other line runs through the words."""
    others = [x for x in (limits.lower, limits.bias, limits.upper) if np.isfinite(x)]
    sides = [(margin, 1), (-margin, -1), (margin, -1), (-margin, 1)]
    free = [
        (at, up)
        for at, up in sides
        if not any(0 <= up * (other - at) < 1.4 * line for other in others)
    ]
    at, up = (free or sides)[0]
    axes.annotate(
        f"margin ±{stated(margin)}°", (0.02, at), (0, 1.5 * up), va="bottom" if up > 0 else "top",
        xycoords=("axes fraction", "data"), textcoords="offset points", color=MARGIN,
    )  # fmt: skip


def _line_height(view: _View, size_mm: tuple[float, float]) -> float:
    """Return the height of a line of type, in degrees."""
    return LINE_MM * type_scale() / size_mm[1] * (view.high - view.low)


def _bars(limits: LimitsOfAgreement) -> int:
    """Return how many of bias and limits have an interval, which with few people none has."""
    ends = np.array([limits.lower_ci, limits.bias_ci, limits.upper_ci])
    return int(np.isfinite(ends).all(axis=1).sum())


def _draw_lines(
    axes: Axes, limits: LimitsOfAgreement, view: _View, size_mm: tuple[float, float]
) -> None:
    """Draw bias and limits, their intervals as bars beside the axes, and their names."""
    lines = [
        (level, ends, name, dash)
        for level, ends, name, dash in (
            (limits.lower, limits.lower_ci, "lower", LIMIT_DASH),
            (limits.bias, limits.bias_ci, "bias", "solid"),
            (limits.upper, limits.upper_ci, "upper", LIMIT_DASH),
        )
        if np.isfinite(level)
    ]
    places = spread_out([level for level, *_ in lines], 1.1 * _line_height(view, size_mm))
    beside = (BESIDE_MM + BAR_MM * _bars(limits)) * POINTS_PER_MM
    bars = 0
    for place, (level, ends, name, dash) in zip(places, lines, strict=True):
        axes.axhline(level, color=INK, linewidth=0.9, linestyle=dash)
        if np.isfinite(ends).all():
            _draw_bar(axes, 1.6 + BAR_MM * bars, level, ends, view)
            bars += 1
        axes.annotate(
            f"{name} {number(level)}°", (1, place), (beside, 0), va="center",
            xycoords=("axes fraction", "data"), textcoords="offset points", annotation_clip=False,
        )  # fmt: skip


def _draw_bar(
    axes: Axes, away_mm: float, level: float, ends: tuple[float, float], view: _View
) -> None:
    """Draw one interval as a bar beside the axes, its ends marked: an arrow leaves the view."""
    from matplotlib.transforms import ScaledTranslation

    low, high = max(ends[0], view.low), min(ends[1], view.high)
    inches = axes.get_figure(root=True).dpi_scale_trans  # type: ignore[union-attr]
    beside = axes.get_yaxis_transform() + ScaledTranslation(away_mm * MM, 0, inches)
    axes.plot([1, 1], [low, high], color=INK, linewidth=0.9, transform=beside, clip_on=False)
    axes.plot([1], [level], "o", color=INK, markersize=2.4, transform=beside, clip_on=False)
    marks: dict[str, list[float]] = {}
    for end, reached, arrow in ((ends[0], low, "v"), (ends[1], high, "^")):
        marks.setdefault("_" if end == reached else arrow, []).append(reached)
    for mark, places in marks.items():
        axes.plot(
            [1] * len(places), places, mark, color=INK, markersize=2.8, transform=beside,
            clip_on=False,
        )  # fmt: skip


def _name_participants(
    axes: Axes, found: StudyLimits, present: Sequence[str], size_mm: tuple[float, float]
) -> None:
    """Write the participants' names in a column within the axes, a line to each one's mean."""
    codes = np.array(found.participant)
    means = [
        (float(found.size[codes == code].mean()), float(found.difference[codes == code].mean()))
        for code in present
    ]
    bottom, top = axes.get_ylim()
    places = spread_out([y for _, y in means], LINE_MM * type_scale() / size_mm[1] * (top - bottom))
    left, right = axes.get_xlim()
    column = right - _room_for_names(found, size_mm[0]) * (right - left)
    gap = 0.6 / size_mm[0] * (right - left)
    for code, (x, y), place in zip(present, means, places, strict=True):
        axes.plot([x, column - gap], [y, place], color=FAINT, linewidth=0.5)
        axes.text(column, place, shortened(code, 8), va="center", zorder=4, bbox=OVER_LINES)


def _room_for_names(found: StudyLimits, width_mm: float) -> float:
    """Return the share of a panel's width that the names take."""
    longest = max(len(shortened(code, 8)) for code in found.participant)
    return (LETTER_MM * type_scale() * longest + 2.0) / width_mm
