"""Figure of the magnetic field at the sensors."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

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
from twinangle.results import SensorRecord, StudyResults
from twinangle.results.grouping import conditions, trial_groups
from twinangle.wording import shortened

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
    for k, (axes, (condition, records)) in enumerate(zip(panels, shown, strict=True)):
        for record in records[:FIELD_LINES]:
            near = record.segment == "proximal"
            axes.plot(
                record.time_s - record.time_s[0], 100 * record.norm_deviation, linewidth=0.5,
                color=SEGMENTS[0 if near else 1], alpha=0.8,
                linestyle="solid" if near else LIMIT_DASH, label=f"{record.segment} sensor",
            )  # fmt: skip
        for level in (-10, 10):
            axes.axhline(level, color=INK, linewidth=0.5)
        axes.set_xlabel("Time (s)")
        letter(axes, f"{'abc'[k]} {shortened(condition, 28)}")
        axes.set_ylabel("Deviation of the norm (%)")
        few_ticks(axes, x=4, y=5)
    _same_scales(panels)
    share_axes(panels, width_mm=width_mm)
    handles, labels = panels[0].get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    figure.legend(
        handles=list(once.values()), loc="upper right", bbox_to_anchor=(0.99, 1.0), ncols=2
    )
    caption = (
        "Magnetic field at the sensors: deviation of its norm from the undisturbed value, mean of "
        "each second, every recording (proximal: solid, distal: dashed); beyond the black "
        "lines a sample counts as disturbed."
    )
    return Drawn("magnetic_field", figure, caption, of_fields(shown))


def _field_records(results: StudyResults, condition: str) -> list[SensorRecord]:
    """Return the sensors of a condition that tell of the field."""
    return [
        record
        for group in trial_groups(results)
        if group.main.condition == condition
        for record in group.main.sensors
        if record.field is not None and record.time_s.size
    ]


def _same_scales(panels: Sequence[Axes]) -> None:
    """Give all panels one height and one length of time."""
    for which in ("xlim", "ylim"):
        lows, highs = zip(*(getattr(axes, f"get_{which}")() for axes in panels), strict=True)
        for axes in panels:
            getattr(axes, f"set_{which}")(min(lows), max(highs))
