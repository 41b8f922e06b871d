"""Figure of a recording's cycles: curves, means, SD and durations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from twinangle.plotting.alternatives import of_cycles
from twinangle.plotting.cycle_panels import (
    CURVES_DRAWN,
    EXCLUDED_DRAWN,
    plot_cycle_differences,
    plot_cycle_durations,
    plot_cycle_means,
    plot_cycle_sds,
    plot_cycles,
)
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    DOUBLE_MM,
    add_panel,
    letter,
    new_figure,
)
from twinangle.results import StudyResults
from twinangle.results.grouping import TrialGroup
from twinangle.wording import count, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes


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
    letter(plot_cycles(trial, panels[0], joint=joint, legend=False), "a Wearable")
    if paired and cycles.reference_deg is not None:
        reference = plot_cycles(trial, panels[1], instrument="reference", legend=False)
        letter(reference, "b Reference")
        letter(plot_cycle_means(trial, panels[2], legend=False), "c Means ± SD")
        _share_height(panels[:3], scale)
        reach = 1.1 * scale.difference
        plot_cycle_differences(group.worked, panels[3], heights=(-reach, reach))
        letter(panels[3], "d Difference, demeaned")
    else:
        _share_height(panels[:1], scale)
        letter(plot_cycle_durations(trial, panels[1], legend=False), "b Durations")
        plot_cycle_sds(group.worked, panels[2], heights=(0, 1.1 * scale.sd))
        letter(panels[2], "c Wearable's SD")
    return Drawn("cycles", figure, _cycles_caption(group), of_cycles(group))


def _share_height(panels: list[Axes], scale: Scale) -> None:
    """Give the panels the vertical scale of all recordings, and label it once."""
    pad = 0.05 * (scale.high - scale.low) or 1.0
    for axes in panels:
        axes.set_ylim(scale.low - pad, scale.high + pad)
    for axes in panels[1:]:
        axes.tick_params(labelleft=False)
        axes.set_ylabel("")


def _cycles_caption(group: TrialGroup) -> str:
    """Say how many cycles are drawn, kept and left out, and what the panels hold."""
    trial = group.main
    assert trial.cycles is not None
    kept = int(trial.cycles.kept.sum())
    out = trial.cycles.kept.size - kept
    said = f"{count(kept, 'cycle')} kept (thin lines; black: mean, dashed ± SD)"
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
