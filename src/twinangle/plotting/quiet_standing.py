"""Figure of a recording's beginning: how fast both sensors turn, and where standing is proposed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from twinangle.plausibility.proposed_standing import ProposedStanding
from twinangle.plotting.looks import BAND, INK, SEGMENTS, few_ticks
from twinangle.plotting.onto import on_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

AROUND_S = 15.0  # seconds shown before and after the stretch


def plot_standing(
    standing: ProposedStanding,
    ax: Axes | None = None,
    *,
    span_s: tuple[float, float] | None = None,
    legend: bool = True,
) -> Axes:
    """Draw how fast both sensors turn, and shade the stretch that is proposed as standing.

    Parameters
    ----------
    standing : ProposedStanding
        Of one recording, as `twinangle.analysis.propose_standing` gives them.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    span_s : (float, float), optional
        From when to when, seconds of the wearable's clock; without it, 15 s before and after the
        stretch, or the whole recording where there is none.
    legend : bool
        Whether the sensors are named.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the value is of another kind, or `ax` is no axes.
    ValueError
        If `span_s` ends before it starts.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_standing(standing[0])
    """
    if not isinstance(standing, ProposedStanding):
        raise TypeError(
            f"Cannot draw {type(standing).__name__}; one of what "
            "`twinangle.analysis.propose_standing(study)` gives is accepted."
        )
    start, end = _span(standing) if span_s is None else span_s
    if not start < end:
        raise ValueError(f"`span_s`: {start:g} to {end:g} s; the end must come after the start.")
    inside = (standing.time_s >= start) & (standing.time_s <= end)
    title = f"{standing.label} (row {standing.row}): no quiet stretch found"
    with on_axes(ax) as axes:
        for k, (name, colour) in enumerate(
            zip(("proximal sensor", "distal sensor"), SEGMENTS, strict=True)
        ):
            axes.plot(
                standing.time_s[inside], standing.rates_deg_s[inside, k], color=colour,
                linewidth=0.7, label=name,
            )  # fmt: skip
        if standing.stretch is not None:
            first, last = standing.stretch.start_s, standing.stretch.end_s
            axes.axvspan(first, last, color=BAND, zorder=0, linewidth=0)
            title = f"{standing.label} (row {standing.row}): {first:g} to {last:g} s"
        axes.set_title(title, color=INK, loc="left")
        axes.set(xlim=(start, end), xlabel="Time (s)", ylabel="Rate (°/s)")
        few_ticks(axes, x=6, y=3)
        if legend:
            axes.legend(loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2, borderaxespad=0)
    return axes


def _span(standing: ProposedStanding) -> tuple[float, float]:
    """Return what is shown: the stretch and what lies around it."""
    first, last = float(standing.time_s[0]), float(np.asarray(standing.time_s)[-1])
    if standing.stretch is None:
        return first, last
    return (
        max(first, standing.stretch.start_s - AROUND_S),
        min(last, standing.stretch.end_s + AROUND_S),
    )
