"""Figure of a recording's cycles: curves, means, SD and durations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.variability import CycleVariability
from twinangle.plotting.alternatives import of_cycles
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.style import (
    DOUBLE_MM,
    EXCLUDED,
    FAINT,
    INK,
    LIMIT_DASH,
    REFERENCE,
    REFERENCE_DASH,
    WEARABLE,
    add_panel,
    few_ticks,
    letter,
    new_figure,
    procedure_style,
)
from twinangle.plotting.thinning import Mask, joined, thinned
from twinangle.results import StudyResults
from twinangle.results.grouping import TrialGroup
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array, CycleSet
from twinangle.under_test import parts_of, under_test
from twinangle.wording import number, shortened

LONGEST = 24  # letters of a name in a legend

CURVES_DRAWN = 120  # kept cycles drawn in one panel at most, evenly spread over the trial
EXCLUDED_DRAWN = 20


@dataclass(frozen=True, slots=True)
class Scale:
    """Heights that the figures of all recordings share, so that they can be compared.

    Attributes
    ----------
    low, high : float
        Of the curves, degrees.
    difference, sd : float
        How far the demeaned differences, and how high the SD curves reach, degrees.
    """

    low: float
    high: float
    difference: float
    sd: float


def shared_scale(results: StudyResults) -> Scale:
    """Return the heights that hold what the figures of all recordings show."""
    worked = [trial for trial in results.trials if trial.status == "ok"]
    spreads = [
        spread
        for trial in worked
        for spread in (trial.wearable_variability, trial.reference_variability)
        if spread is not None
    ]
    curves = [(s.mean_curve - 3 * s.sd_curve, s.mean_curve + 3 * s.sd_curve) for s in spreads]
    lows = [float(low.min()) for low, _ in curves if np.isfinite(low).all()]
    highs = [float(high.max()) for _, high in curves if np.isfinite(high).all()]
    sds = [float(s.sd_curve.max()) for s in spreads if np.isfinite(s.sd_curve).all()]
    apart = [
        float(np.abs(a.test_mean - a.reference_mean - a.offset).max())
        for a in (trial.agreement for trial in worked)
        if a is not None
    ]
    return Scale(
        min(lows, default=0.0), max(highs, default=1.0), max(apart, default=1.0) or 1.0,
        max(sds, default=1.0) or 1.0,
    )  # fmt: skip


def draw_cycles(group: TrialGroup, joint: str, scale: Scale) -> Drawn | None:
    """Draw all cycles of both instruments, their mean curves, and the demeaned difference.

    Without a reference: the wearable's cycles, and its SD over the cycle for every procedure.
    """
    trial = group.main
    cycles, wearable = trial.cycles, trial.wearable_variability
    if cycles is None or wearable is None or not cycles.kept.any():
        return None
    figure = new_figure(DOUBLE_MM, 56)
    paired = trial.reference_variability is not None
    lefts = (13.0, 52.5, 92.0, 140.5) if paired else (13.0, 73.0, 133.0)
    width = 34.0 if paired else 42.0
    panels = [add_panel(figure, left, 9, width, 41) for left in lefts]
    _draw_curves(panels[0], cycles.wearable_deg, cycles.kept, wearable, WEARABLE)
    letter(panels[0], "a Wearable")
    panels[0].set_ylabel(f"{joint_named(joint).label} (°)")
    if trial.reference_variability is not None and cycles.reference_deg is not None:
        reference = trial.reference_variability
        _draw_curves(panels[1], cycles.reference_deg, cycles.kept, reference, REFERENCE)
        letter(panels[1], "b Reference")
        _draw_means(panels[2], wearable, reference)
        _share_height(panels[:3], scale)
        _draw_difference(panels[3], group, scale)
    else:
        _share_height(panels[:1], scale)
        _draw_durations(panels[1], cycles)
        _draw_sd_curves(panels[2], group, scale)
    for axes in panels:
        axes.set_xlabel(axes.get_xlabel() or "Cycle (%)")
        few_ticks(axes, x=4, y=5)
    return Drawn("cycles", figure, _cycles_caption(group), of_cycles(group))


def _draw_curves(
    axes: Axes, curves: Array, kept: Mask, spread: CycleVariability, colour: str
) -> None:
    """Draw dropped cycles pale, kept ones thin, and mean ± SD on top of both."""
    complete = np.isfinite(curves).any(axis=1)
    dropped = thinned(np.flatnonzero(~kept & complete), EXCLUDED_DRAWN)
    shown = thinned(np.flatnonzero(kept), CURVES_DRAWN)
    if dropped.size:
        axes.plot(
            *joined(curves[dropped]), color=EXCLUDED, linewidth=0.5, alpha=0.6, label="left out"
        )
    axes.plot(*joined(curves[shown]), color=colour, linewidth=0.5, alpha=0.16, label="kept")
    percent = np.linspace(0, 100, spread.mean_curve.size)
    for edge in (spread.mean_curve - spread.sd_curve, spread.mean_curve + spread.sd_curve):
        axes.plot(percent, edge, color=INK, linewidth=0.7, linestyle=LIMIT_DASH, label="± SD")
    axes.plot(percent, spread.mean_curve, color=INK, linewidth=1.0, label="mean")
    axes.set_xlim(0, 100)


def _draw_means(axes: Axes, wearable: CycleVariability, reference: CycleVariability) -> None:
    """Draw both mean curves with their SD bands in one panel."""
    percent = np.linspace(0, 100, wearable.mean_curve.size)
    for spread, colour, dash, label in (
        (wearable, WEARABLE, "solid", "wearable"),
        (reference, REFERENCE, REFERENCE_DASH, "reference"),
    ):
        mean, sd = spread.mean_curve, spread.sd_curve
        axes.fill_between(percent, mean - sd, mean + sd, color=colour, alpha=0.2, linewidth=0)
        axes.plot(percent, mean, color=colour, linewidth=1.0, linestyle=dash, label=label)
    axes.set_xlim(0, 100)
    letter(axes, "c Means ± SD")


def _share_height(panels: list[Axes], scale: Scale) -> None:
    """Give the panels the vertical scale of all recordings, and label it once."""
    pad = 0.05 * (scale.high - scale.low) or 1.0
    for axes in panels:
        axes.set_ylim(scale.low - pad, scale.high + pad)
    for axes in panels[1:]:
        axes.tick_params(labelleft=False)


def _draw_difference(axes: Axes, group: TrialGroup, scale: Scale) -> None:
    """Draw the difference of the mean curves, offset taken out, for every procedure."""
    for k, result in enumerate(group.worked):
        agreement = result.agreement
        if agreement is None:
            continue
        difference = agreement.test_mean - agreement.reference_mean - agreement.offset
        axes.plot(
            np.linspace(0, 100, difference.size),
            difference,
            color=procedure_style(k)[0],
            linestyle=procedure_style(k)[2],
            label=_name(result.procedure),
        )
    axes.axhline(0, color=FAINT, linewidth=0.5)
    axes.set(xlim=(0, 100), ylim=(-1.1 * scale.difference, 1.1 * scale.difference))
    axes.set_ylabel("Difference (°)")
    letter(axes, "d Difference, demeaned")
    _name_procedures(axes, group)


def _draw_sd_curves(axes: Axes, group: TrialGroup, scale: Scale) -> None:
    """Draw the wearable's SD over cycles at each point, for every procedure."""
    for k, result in enumerate(group.worked):
        if result.wearable_variability is None:
            continue
        curve = result.wearable_variability.sd_curve
        axes.plot(
            np.linspace(0, 100, curve.size),
            curve,
            color=procedure_style(k)[0],
            linestyle=procedure_style(k)[2],
            label=_name(result.procedure),
        )
    axes.set(xlim=(0, 100), ylim=(0, 1.1 * scale.sd))
    axes.set_ylabel("SD over cycles (°)")
    letter(axes, "c Wearable's SD")
    _name_procedures(axes, group)


def _name(under: str) -> str:
    """Return what is drawn without its wearable, which the page names."""
    _, procedure, reference = parts_of(under)
    return shortened(under_test("", procedure, reference), LONGEST)


def _name_procedures(axes: Axes, group: TrialGroup) -> None:
    """Add a legend where more than one procedure is drawn, with room for it."""
    if len(axes.get_legend_handles_labels()[1]) > 1:
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.28 * (high - low))
        axes.legend(loc="upper left", ncols=1 if len(group.worked) > 2 else 2, handlelength=1.6)


def _draw_durations(axes: Axes, cycles: CycleSet) -> None:
    """Draw each cycle's duration over the recording, dropped ones grey."""
    shown = thinned(np.arange(cycles.start_s.size), 2000)
    kept = cycles.kept[shown]
    start, duration = cycles.start_s[shown], cycles.duration_s[shown]
    axes.plot(start[~kept], duration[~kept], "x", color=EXCLUDED, label="left out")
    axes.plot(start[kept], duration[kept], "o", color=WEARABLE, markersize=1.8, label="kept")
    middle, reach = float(np.median(duration)), max(float(np.ptp(duration)) * 0.6, 0.1)
    axes.set_ylim(middle - reach, middle + reach)
    axes.set_ylabel("Cycle duration (s)")
    axes.set_xlabel("Time (s)")
    letter(axes, "b Durations")


def _cycles_caption(group: TrialGroup) -> str:
    """Say how many cycles are drawn, kept and left out, and what the panels hold."""
    trial = group.main
    assert trial.cycles is not None
    kept = int(trial.cycles.kept.sum())
    out = trial.cycles.kept.size - kept
    said = f"{kept} cycles kept (thin lines; black: mean, dashed ± SD)"
    said += f", {out} left out (pale)" if out else ""
    if kept > CURVES_DRAWN or out > EXCLUDED_DRAWN:
        said += f", of which at most {CURVES_DRAWN} and {EXCLUDED_DRAWN} are drawn"
    if trial.agreement is None:
        return (
            f"{said}: (a) the wearable's cycles, (b) durations, (c) SD at each point. "
            "Same scales for every recording."
        )
    return (
        f"{said}: (a, b) each instrument, (c) both means, (d) wearable minus reference after "
        f"removing the offset of {number(trial.agreement.offset, 2)}°. Same scales for every "
        "recording."
    )
