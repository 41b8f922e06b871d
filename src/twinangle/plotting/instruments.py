"""Figures of two wearables, or two references, against each other: Bland-Altman plots."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.plotting.alternatives import of_limits_between
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.limits import (
    NAMED_PARTICIPANTS,
    bars_told,
    heights_of,
    plot_limits,
    row_of_panels,
    who_is_who,
)
from twinangle.plotting.looks import DOUBLE_MM, is_narrow, letter, share_axes
from twinangle.results import Absent, StudyResults
from twinangle.results.grouping import participants
from twinangle.results.instruments import LimitsBetween
from twinangle.wording import file_name, quantity_name


def draw_between(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Draw each pair of instruments and condition: a Bland-Altman plot a quantity."""
    groups: dict[tuple[str, ...], list[LimitsBetween]] = {}
    for one in results.between:
        if not isinstance(one.points, Absent):
            name = (one.kind, one.first, one.second, one.procedure, one.condition)
            groups.setdefault(name, []).append(one)
    return tuple(_drawn(name, members, results, width_mm) for name, members in groups.items())


def _drawn(
    name: tuple[str, ...],
    members: Sequence[LimitsBetween],
    results: StudyResults,
    width_mm: float,
) -> Drawn:
    kind, first, second, procedure, condition = name
    everyone = participants(results)
    points_of = [one.points for one in members if not isinstance(one.points, Absent)]
    low, high, _ = heights_of(points_of, None)
    figure, panels = row_of_panels(width_mm, points_of)
    for k, (axes, one) in enumerate(zip(panels, members, strict=True)):
        plot_limits(one, axes, participants=everyone, heights=(low, high))
        letter(axes, f"{'abc'[k]} {quantity_name(one.quantity)}")
    if not is_narrow(width_mm):
        share_axes(panels, width_mm=width_mm)
    named = len({code for one in members for code in one.participant}) <= NAMED_PARTICIPANTS
    where = ", ".join(filter(None, (condition, procedure)))
    caption = (
        f"Bland-Altman plot of two {kind}, {first} minus {second}, {where}: one point a cycle that "
        f"both keep, {who_is_who(named=named)}. Solid line: mean difference; dashed: limits of "
        f"agreement{bars_told(results, members[0].points)}. Agreement between "
        "the two, not accuracy of either."
    )
    stem = file_name("between", first, second, *filter(None, (procedure, condition)))
    return Drawn(stem, figure, caption, of_limits_between(members))
