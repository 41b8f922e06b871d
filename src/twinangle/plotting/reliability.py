"""Figure of test and retest: each person's sessions about their own mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import scipy

from twinangle.plotting.alternatives import of_sessions
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    MARKERS,
    POINT,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.results import Absent, Reliability, StudyResults, named
from twinangle.results.answer import answer_of
from twinangle.wording import file_name, quantity_name, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_SESSIONS = len(MARKERS)


def draw_reliability(results: StudyResults, width_mm: float = DOUBLE_MM) -> tuple[Drawn, ...]:
    """Draw one figure a condition: the main procedure's sessions, a panel a quantity."""
    main = answer_of(results).procedure
    groups: dict[str, list[tuple[str, Reliability]]] = {}
    for (procedure, condition, quantity), found in named(results.reliability):
        again = found.design == "sessions" and found.instrument == "wearable"
        if again and procedure == main and len(found.columns) <= MOST_SESSIONS:
            groups.setdefault(condition, []).append((quantity, found))
    return tuple(
        _drawn(condition, main, members, results.options.confidence, width_mm)
        for condition, members in groups.items()
    )


def _drawn(
    condition: str,
    procedure: str,
    members: Sequence[tuple[str, Reliability]],
    confidence: float,
    width_mm: float,
) -> Drawn:
    from matplotlib.lines import Line2D

    figure, panels = _panels(width_mm, len(members))
    for k, (axes, (quantity, found)) in enumerate(zip(panels, members, strict=True)):
        _draw_sessions(axes, found, confidence)
        letter(axes, f"{'abc'[k]} {quantity_name(quantity)}")
        axes.set_xlabel("Mean over sessions (°)")
        if k == 0 or is_narrow(width_mm):
            axes.set_ylabel("Session − own mean (°)")
    columns = members[0][1].columns
    marks = [
        Line2D([], [], linestyle="", marker=MARKERS[k], color=INK, markerfacecolor=_fill(k),
               label=f"session {shortened(name, 12)}")
        for k, name in enumerate(columns)
    ]  # fmt: skip
    figure.legend(handles=marks, loc=8, ncol=min(5, len(marks)))
    caption = (
        f"Test and retest of the wearable, {', '.join(filter(None, (condition, procedure)))}: each "
        "person's value in each session less their own mean over the sessions, a column of marks a "
        f"person. Dashed: what {100 * confidence:g} % of values stay within by the standard error "
        "of measurement with the shift between sessions, about a known true value."
    )
    return Drawn(file_name("sessions", condition), figure, caption, of_sessions(members))


def _fill(k: int) -> str:
    """Return the inside of a session's mark: full, hollow and grey in turn, told apart in grey."""
    return (INK, "white", POINT)[k % 3]


def _draw_sessions(axes: Axes, found: Reliability, confidence: float) -> None:
    scores = np.array(found.scores)
    means = scores.mean(axis=1)
    for own, mean in zip(scores - means[:, None], means, strict=True):
        axes.plot([mean, mean], [own.min(), own.max()], color=FAINT, linewidth=0.5)
    for k in range(scores.shape[1]):
        axes.plot(
            means, scores[:, k] - means, linestyle="", marker=MARKERS[k], color=INK,
            markerfacecolor=_fill(k), markersize=3.4, markeredgewidth=0.6,
        )  # fmt: skip
    axes.axhline(0, color=FAINT, linewidth=0.6)
    if not isinstance(found.error, Absent):
        reach = float(scipy.special.ndtri((1 + confidence) / 2)) * found.error.sem_agreement
        for level in (-reach, reach):
            axes.axhline(level, color=INK, linewidth=0.8, linestyle=LIMIT_DASH)
    few_ticks(axes, x=4, y=5)


def _panels(width_mm: float, n: int) -> tuple[Figure, list[Axes]]:
    """Return the figure and its panels, below each other in one column, with room for the key."""
    if is_narrow(width_mm):
        tall = 36.0
        figure = new_figure(width_mm, n * tall + 8)
        bottoms = [17 + (n - 1 - k) * tall for k in range(n)]
        return figure, [add_panel(figure, 13, b, width_mm - 17, 22) for b in bottoms]
    each = (width_mm - 17 - 24) / 3
    figure = new_figure(width_mm, 58)
    return figure, [add_panel(figure, 13 + k * (each + 12), 14, each, 38) for k in range(n)]
