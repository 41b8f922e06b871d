"""Figure of the mean curves over all participants, and of their difference."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from twinangle.agreement.bands import CurveBand
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.plotting.alternatives import of_group_curves
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    BAND,
    INK,
    MARGIN,
    MARGIN_DASH,
    REFERENCE,
    REFERENCE_DASH,
    SINGLE_MM,
    WEARABLE,
    add_panel,
    few_ticks,
    is_narrow,
    letter,
    new_figure,
)
from twinangle.results import StudyResults, TrialResult, named
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array
from twinangle.wording import count, file_name, stated

Spread = tuple[Array, Array]  # mean and SD at each point


def draw_group_curves(results: StudyResults, width_mm: float = SINGLE_MM) -> tuple[Drawn, ...]:
    """Return one figure a condition: both instruments' mean ± SD, and their difference below.

    With one participant the SD is over the own cycles; with fewer than four, every participant's
    own difference stands in the place of the band that so few do not give.
    """
    found = named(results.curves)
    main = found[0][0][0] if found else ""
    return tuple(
        _draw_group(results, condition, curves, width_mm)
        for (procedure, condition, _), curves in found
        if procedure == main
    )


def _draw_group(
    results: StudyResults, condition: str, curves: PooledCurves, width_mm: float
) -> Drawn:
    """Draw the main procedure's curves in one condition."""
    main = named(results.curves)[0][0][0]
    trials = [
        trial
        for trial in results.trials
        if (trial.procedure, trial.condition) == (main, condition) and trial.agreement is not None
    ]
    if is_narrow(width_mm):
        figure = new_figure(width_mm, 78)
        upper = add_panel(figure, 12, 42, width_mm - 16, 30)
        lower = add_panel(figure, 12, 9, width_mm - 16, 25)
        upper.tick_params(labelbottom=False)
    else:
        figure, each = new_figure(width_mm, 62), (width_mm - 34) / 2
        upper = add_panel(figure, 12, 9, each, 47)
        lower = add_panel(figure, width_mm - 5 - each, 9, each, 47)
        upper.set_xlabel("Cycle (%)")
    _draw_both(upper, *_spreads(curves, trials))
    upper.set_ylabel(f"{joint_named(results.joint).label} (°)")
    letter(upper, f"a Mean ± SD over {_over(curves)}")
    letter(lower, "b Wearable − reference")
    along = dict(named(results.along_cycle)).get((main, condition, ""))
    said = _draw_difference(lower, curves, trials, None if along is None else
                            along.limits.bias_band, results.options.margin_deg)  # fmt: skip
    lower.set_ylabel("Difference (°)")
    lower.set_xlabel("Cycle (%)")
    caption = (
        f"Mean curves, {condition}, {main}: (a) both instruments, mean and SD over {_over(curves)} "
        "(wearable: solid, shaded; reference: dashed, its SD between the thin dashed lines); "
        f"(b) their difference: {said}."
    )
    name = file_name("group-curves", condition)
    return Drawn(name, figure, caption, of_group_curves(condition, curves))


def _over(curves: PooledCurves) -> str:
    n = curves.n_participants
    return "the cycles of one participant" if n == 1 else count(n, "participant")


def _spreads(curves: PooledCurves, trials: list[TrialResult]) -> tuple[Spread, Spread]:
    """Return mean and SD of both instruments, over people or over the only one's cycles."""
    if curves.n_participants > 1:
        return (curves.test_mean, curves.test_sd), (curves.reference_mean, curves.reference_sd)
    wearable, reference = trials[0].wearable_variability, trials[0].reference_variability
    assert wearable is not None
    assert reference is not None
    return (
        (curves.test_mean, wearable.sd_curve),
        (curves.reference_mean, reference.sd_curve),
    )


def _draw_both(axes: Axes, wearable: Spread, reference: Spread) -> None:
    """Draw both means and SDs, so that neither hides the other."""
    percent = np.linspace(0, 100, wearable[0].size)
    mean, sd = wearable
    axes.fill_between(percent, mean - sd, mean + sd, color=WEARABLE, alpha=0.22, linewidth=0)
    axes.plot(percent, mean, color=WEARABLE, linewidth=1.4, label="wearable")
    mean, sd = reference
    for edge in (mean - sd, mean + sd):
        axes.plot(percent, edge, color=REFERENCE, linewidth=0.5, linestyle=REFERENCE_DASH)
    axes.plot(
        percent, mean, color=REFERENCE, linewidth=1.2, linestyle=REFERENCE_DASH, label="reference"
    )
    axes.set_xlim(0, 100)
    few_ticks(axes, x=4, y=5)
    axes.legend(loc="upper left", handlelength=2.6)


def _draw_difference(
    axes: Axes,
    curves: PooledCurves,
    trials: list[TrialResult],
    band: CurveBand | None,
    margin: float | None,
) -> str:
    """Draw the mean difference with its band, or each participant's own; return what it is."""
    percent = np.linspace(0, 100, curves.test_mean.size)
    axes.axhline(0, color=INK, linewidth=0.5)
    if band is not None:
        axes.fill_between(percent, band.lower, band.upper, color=BAND, linewidth=0)
        mean, reach = band.mean, float(np.abs([band.lower, band.upper]).max())
        said = (
            f"mean over participants and its {100 * band.confidence:g} % band, which holds along "
            "the whole cycle"
        )
    else:
        own = [t.agreement.test_mean - t.agreement.reference_mean for t in trials if t.agreement]
        for curve in own:
            axes.plot(percent, curve, color=INK, linewidth=0.5, alpha=0.6)
        mean, reach = curves.test_mean - curves.reference_mean, float(np.abs(own).max())
        said = "mean (thick) and every recording (thin); a band needs four participants"
    axes.plot(percent, mean, color=INK, linewidth=1.2, label="mean difference")
    said += _draw_margin(axes, margin, reach)
    axes.set_xlim(0, 100)
    few_ticks(axes, x=4, y=5)
    return said


def _draw_margin(axes: Axes, margin: float | None, reach: float) -> str:
    """Draw the margin where it is near enough, and fix the heights; return what is said of it."""
    shown = margin is not None and margin <= 2.5 * reach
    if margin is not None and shown:
        for level in (-margin, margin):
            axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
        axes.annotate(
            f"margin ±{stated(margin)}°", (1, margin), (0, -2.5), va="top", ha="right",
            xycoords=("axes fraction", "data"), textcoords="offset points", color=MARGIN,
        )  # fmt: skip
        reach = max(reach, margin)
    reach = 1.12 * reach or 1.0
    axes.set_ylim(-reach, reach)
    if margin is None:
        return ""
    return f"; {'dash-dotted' if shown else 'outside'}: the margin of ±{stated(margin)}°"
