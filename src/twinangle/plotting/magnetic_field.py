"""Figure of the magnetic field at the sensors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from twinangle.plotting.alternatives import of_fields
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    INK,
    LIMIT_DASH,
    SEGMENTS,
    few_ticks,
    is_narrow,
    letter,
    panel_row,
    share_axes,
)
from twinangle.plotting.onto import on_axes, one_of, study_of
from twinangle.results import SensorRecord, StudyResults, TrialResult
from twinangle.results.grouping import conditions, trial_groups
from twinangle.wording import shortened

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

FIELD_LINES = 60  # recordings drawn in one panel at most


def draw_fields(results: StudyResults, width_mm: float = DOUBLE_MM) -> Drawn | None:
    """Draw the field's deviation at both sensors over time, a panel a condition (three at most)."""
    known = {
        condition: records
        for condition in conditions(results)
        if (records := _field_records(results, condition))
    }
    if not known:
        return None
    shown = list(known.items())[:3]
    figure, panels = panel_row(width_mm, len(shown), 34, head_mm=11 if is_narrow(width_mm) else 7)
    for k, (axes, (condition, _)) in enumerate(zip(panels, shown, strict=True)):
        plot_field(results, axes, condition=condition, legend=False)
        letter(axes, f"{'abc'[k]} {shortened(condition, 28)}")
    _same_scales(panels)
    share_axes(panels, width_mm=width_mm)
    figure.legend(
        handles=_handles(panels[0]), loc="upper right", bbox_to_anchor=(0.99, 1.0), ncols=2
    )
    caption = (
        "Magnetic field at the sensors: deviation of its norm from the undisturbed value, mean of "
        "each second, every recording (proximal: solid, distal: dashed); beyond the black "
        "lines a sample counts as disturbed."
    )
    return Drawn("magnetic_field", figure, caption, of_fields(shown))


def plot_field(
    result: StudyResults | TrialResult,
    ax: Axes | None = None,
    *,
    condition: str | None = None,
    legend: bool = True,
) -> Axes:
    """Draw how far the magnetic field's norm strays at both sensors, mean of each second.

    A line a sensor and recording, sixty at most; beyond the black lines a sample counts as
    disturbed.

    Parameters
    ----------
    result : StudyResults or TrialResult
        A study, or one recording.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    condition : str, optional
        The recordings of a study that are drawn; without it, all.
    legend : bool
        Whether the sensors are named, above the axes.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If there is no such condition, or no magnetometer.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_field(results.trials[0])
    """
    if isinstance(result, TrialResult):
        records = _with_field(result)
    else:
        known = conditions(study_of(result))
        chosen = known if condition is None else (one_of(condition, known, "condition"),)
        records = [each for name in chosen for each in _field_records(result, name)]
    if not records:
        raise ValueError(
            "There is nothing to draw: no sensor here tells of the magnetic field; recordings with "
            "magnetometers are accepted."
        )
    with on_axes(ax) as axes:
        _draw_field(axes, records)
        axes.set(xlabel="Time (s)", ylabel="Deviation of the norm (%)")
        few_ticks(axes, x=4, y=5)
        if legend:
            axes.legend(
                handles=_handles(axes), loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2
            )
    return axes


def _draw_field(axes: Axes, records: Sequence[SensorRecord]) -> None:
    """Draw each sensor's deviation in percent, and where a sample counts as disturbed."""
    for record in records[:FIELD_LINES]:
        near = record.segment == "proximal"
        axes.plot(
            record.time_s - record.time_s[0], 100 * record.norm_deviation, linewidth=0.5,
            color=SEGMENTS[0 if near else 1], alpha=0.8,
            linestyle="solid" if near else LIMIT_DASH, label=f"{record.segment} sensor",
        )  # fmt: skip
    for level in (-10, 10):
        axes.axhline(level, color=INK, linewidth=0.5)


def _handles(axes: Axes) -> list[Artist]:
    """Return what is to be named, each name once."""
    handles, labels = axes.get_legend_handles_labels()
    return list(dict(zip(labels, handles, strict=True)).values())


def _field_records(results: StudyResults, condition: str) -> list[SensorRecord]:
    """Return the sensors of a condition that tell of the field."""
    return [
        record
        for group in trial_groups(results)
        if group.main.condition == condition
        for record in _with_field(group.main)
    ]


def _with_field(trial: TrialResult) -> list[SensorRecord]:
    return [each for each in trial.sensors if each.field is not None and each.time_s.size]


def _same_scales(panels: Sequence[Axes]) -> None:
    """Give all panels one height and one length of time."""
    for which in ("xlim", "ylim"):
        lows, highs = zip(*(getattr(axes, f"get_{which}")() for axes in panels), strict=True)
        for axes in panels:
            getattr(axes, f"set_{which}")(min(lows), max(highs))
