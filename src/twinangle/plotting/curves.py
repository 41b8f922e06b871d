"""Figure of the mean curves over all participants, and of their difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from twinangle.agreement.bands import CurveBand
from twinangle.agreement.curves import CurveAgreement
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
from twinangle.plotting.onto import (
    angle_label,
    on_axes,
    part_of,
    trial_of,
    trials_of,
    value_of,
)
from twinangle.results import AlongCycle, Pooled, StudyResults, TrialResult, named
from twinangle.signals.recording import Array
from twinangle.wording import count, file_name, stated

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
    plot_mean_curves(curves, upper, spread_of=trials[0], joint=results.joint)
    if is_narrow(width_mm):
        upper.set_xlabel("")
    letter(upper, f"a Mean ± SD over {_over(curves)}")
    letter(lower, "b Wearable − reference")
    along = dict(named(results.along_cycle)).get((main, condition, ""))
    drawn, margin = along or curves, results.options.margin_deg
    plot_mean_difference(drawn, lower, trials=trials, margin_deg=margin)
    said = _said_of_difference(_difference_of(drawn, trials), margin)
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


def plot_mean_curves(
    result: Pooled[PooledCurves] | PooledCurves | TrialResult,
    ax: Axes | None = None,
    *,
    spread_of: TrialResult | None = None,
    sd: bool = True,
    joint: str | None = None,
    legend: bool = True,
) -> Axes:
    """Draw both instruments' mean curves with their SD, over participants or a recording's cycles.

    The wearable is solid and its SD shaded; the reference is dashed, its SD between thin lines.

    Parameters
    ----------
    result : Pooled, PooledCurves or TrialResult
        Mean over participants, or a recording with a reference, whose SD is over its cycles.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    spread_of : TrialResult, optional
        Whose SD over cycles is drawn where the mean is of one participant, who has no SD over
        participants.
    sd : bool
        Whether the SD is drawn.
    joint : str, optional
        Named in the label, as `results.joint`.
    legend : bool
        Whether the instruments are named.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent, or the trial has no reference.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_mean_curves(results.curves[0])
    """
    wearable, reference = _spreads(result, spread_of)
    with on_axes(ax) as axes:
        _draw_both(axes, wearable, reference, sd=sd)
        axes.set_xlim(0, 100)
        few_ticks(axes, x=4, y=5)
        axes.set(xlabel="Cycle (%)", ylabel=angle_label(joint))
        if legend:
            axes.legend(loc="upper left", handlelength=2.6)
    return axes


def plot_mean_difference(
    result: Pooled[AlongCycle] | AlongCycle | Pooled[PooledCurves] | PooledCurves | TrialResult,
    ax: Axes | None = None,
    *,
    trials: Sequence[TrialResult] = (),
    margin_deg: float | None = None,
) -> Axes:
    """Draw the difference of the mean curves, with its band along the whole cycle where known.

    Parameters
    ----------
    result : Pooled, AlongCycle, PooledCurves or TrialResult
        `results.along_cycle[0]` has the band, from four participants on; `results.curves[0]` has
        the mean without one; a recording has its own difference.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    trials : sequence of TrialResult
        Recordings whose own differences are drawn thin, where there is no band.
    margin_deg : float, optional
        The margin stated beforehand, as `results.acceptable_deg`; drawn where it is near enough.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the result is absent, or a trial has no reference.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_mean_difference(results.along_cycle[0], margin_deg=5)
    """
    shown = _difference_of(result, trials)
    with on_axes(ax) as axes:
        _draw_difference(axes, shown, margin_deg)
        axes.set(xlabel="Cycle (%)", ylabel="Difference (°)")
    return axes


@dataclass(frozen=True, slots=True)
class _Difference:
    """The mean difference, and its band or else the differences it is of."""

    mean: Array
    band: CurveBand | None
    own: tuple[Array, ...]

    @property
    def reach(self) -> float:
        curves = (self.band.lower, self.band.upper) if self.band else self.own or (self.mean,)
        return float(np.abs(curves).max())


def _difference_of(result: object, trials: Sequence[TrialResult]) -> _Difference:
    """Return what is drawn of a difference, or say what would be accepted."""
    value = result.value if isinstance(result, Pooled) else result
    if isinstance(value, AlongCycle):
        band = value.limits.bias_band
        return _Difference(band.mean, band, ())
    own = tuple(
        t.agreement.test_mean - t.agreement.reference_mean
        for t in (trials_of(trials) if trials else ())
        if t.agreement
    )
    curves: PooledCurves | CurveAgreement
    if isinstance(value, TrialResult):
        curves = part_of(value, value.agreement, "mean curves of both instruments")
    else:
        where = "`results.along_cycle[0]`, `results.curves[0]` or `results.trials[0]`"
        curves = value_of(cast("Pooled[PooledCurves]", result), PooledCurves, where)
    return _Difference(curves.test_mean - curves.reference_mean, None, own)


def _spreads(
    result: Pooled[PooledCurves] | PooledCurves | TrialResult, spread_of: TrialResult | None
) -> tuple[Spread, Spread]:
    """Return mean and SD of both instruments, over people or over the only one's cycles."""
    if isinstance(result, TrialResult):
        own = part_of(result, result.agreement, "mean curves of both instruments")
        return _over_cycles(own.test_mean, own.reference_mean, result)
    where = "`results.curves[0]` or `results.trials[0]`"
    curves = value_of(result, PooledCurves, where)
    if curves.n_participants > 1 or spread_of is None:
        return (curves.test_mean, curves.test_sd), (curves.reference_mean, curves.reference_sd)
    return _over_cycles(curves.test_mean, curves.reference_mean, spread_of)


def _over_cycles(wearable: Array, reference: Array, trial: TrialResult) -> tuple[Spread, Spread]:
    """Return two means with the SD over a recording's cycles."""
    both = trial_of(trial).wearable_variability, trial.reference_variability
    first, second = (part_of(trial, each, "SD over cycles of both instruments") for each in both)
    return (wearable, first.sd_curve), (reference, second.sd_curve)


def _draw_both(axes: Axes, wearable: Spread, reference: Spread, *, sd: bool) -> None:
    """Draw both means and SDs, so that neither hides the other."""
    percent = np.linspace(0, 100, wearable[0].size)
    mean, spread = wearable
    if sd and np.isfinite(spread).any():
        axes.fill_between(
            percent, mean - spread, mean + spread, color=WEARABLE, alpha=0.22, linewidth=0
        )
    axes.plot(percent, mean, color=WEARABLE, linewidth=1.4, label="wearable")
    mean, spread = reference
    for edge in (mean - spread, mean + spread) if sd and np.isfinite(spread).any() else ():
        axes.plot(percent, edge, color=REFERENCE, linewidth=0.5, linestyle=REFERENCE_DASH)
    axes.plot(
        percent, mean, color=REFERENCE, linewidth=1.2, linestyle=REFERENCE_DASH, label="reference"
    )


def _draw_difference(axes: Axes, shown: _Difference, margin: float | None) -> None:
    """Draw the mean difference with its band, or each participant's own, and the margin."""
    percent = np.linspace(0, 100, shown.mean.size)
    axes.axhline(0, color=INK, linewidth=0.5)
    if shown.band is not None:
        axes.fill_between(percent, shown.band.lower, shown.band.upper, color=BAND, linewidth=0)
    for curve in shown.own:
        axes.plot(percent, curve, color=INK, linewidth=0.5, alpha=0.6)
    axes.plot(percent, shown.mean, color=INK, linewidth=1.2, label="mean difference")
    reach = shown.reach
    if margin is not None and _is_near(margin, reach):
        for level in (-margin, margin):
            axes.axhline(level, color=MARGIN, linewidth=0.8, linestyle=MARGIN_DASH)
        axes.annotate(
            f"margin ±{stated(margin)}°", (1, margin), (0, -2.5), va="top", ha="right",
            xycoords=("axes fraction", "data"), textcoords="offset points", color=MARGIN,
        )  # fmt: skip
        reach = max(reach, margin)
    reach = 1.12 * reach or 1.0
    axes.set(xlim=(0, 100), ylim=(-reach, reach))
    few_ticks(axes, x=4, y=5)


def _is_near(margin: float, reach: float) -> bool:
    """Return whether a margin can be drawn without flattening what reaches that far."""
    return margin <= 2.5 * reach


def _said_of_difference(shown: _Difference, margin: float | None) -> str:
    """Say what the mean difference stands between, and how the margin is drawn."""
    said = "mean (thick) and every recording (thin); a band needs four participants"
    if shown.band is not None:
        said = (
            f"mean over participants and its {100 * shown.band.confidence:g} % band, which holds "
            "along the whole cycle"
        )
    if margin is None:
        return said
    how = "dash-dotted" if _is_near(margin, shown.reach) else "outside"
    return f"{said}; {how}: the margin of ±{stated(margin)}°"
