"""Numbers of every recording with their intervals, a row each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.agreement.curves import CurveAgreement
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.agreement.pooled_variability import PooledVariability
from twinangle.plotting.looks import (
    FAINT,
    INK,
    REFERENCE,
    WEARABLE,
    Dash,
    few_ticks,
)
from twinangle.plotting.onto import on_axes, part_of, study_of, trials_of
from twinangle.results import StudyResults, TrialResult, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import Naming
from twinangle.wording import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

ROW_MM = 3.5
_WIDEST = 5.0  # intervals are drawn to so many times the largest number beside the numbers
Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Mark:
    """How one number of a row is drawn."""

    colour: str = INK
    marker: str = "o"
    hollow: bool = False
    shift: float = 0.0  # in rows, so that two marks of a row stand clear
    dash: Dash | str = "solid"


PLAIN = _Mark()
AS_RECORDED, ZEROED = _Mark(shift=-0.16), _Mark(marker="s", hollow=True, shift=0.16, colour=FAINT)
OF_WEARABLE = _Mark(colour=WEARABLE, shift=-0.16)
OF_REFERENCE = _Mark(colour=REFERENCE, marker="s", hollow=True, shift=0.16)
OF_ALL = _Mark(marker="D")  # mean over participants
BOTH_OFFSETS = (("as recorded", AS_RECORDED), ("zeroed", ZEROED))
BOTH_INSTRUMENTS = (("wearable", OF_WEARABLE), ("reference", OF_REFERENCE))
_ABOVE: dict[str, Any] = {"loc": "lower right", "bbox_to_anchor": (1, 1.01), "ncols": 2}


def recordings_of(results: StudyResults) -> list[TrialResult]:
    """Return the main procedure's results, a recording each."""
    main = answer_of(results).procedure
    return [t for t in results.trials if t.procedure == main and t.status == "ok"]


def row_names(results: StudyResults, trials: Sequence[TrialResult]) -> list[str]:
    """Return a name a recording, with no more than tells them apart."""
    naming = Naming(results)
    people = [trial.participant for trial in trials]
    if len(set(people)) == len(people):
        return [shortened(code, 16) for code in people]
    several = len({trial.condition for trial in trials}) > 1
    return [
        shortened(f"{shortened(t.participant, 10)} "
                  f"{naming.heading(t) if several else naming.recording(t)}", 20)
        for t in trials
    ]  # fmt: skip


def plot_offsets(
    results: StudyResults,
    ax: Axes | None = None,
    *,
    trials: Sequence[TrialResult] | None = None,
    means: bool = True,
    legend: bool = True,
) -> Axes:
    """Draw each recording's offset, as recorded and zeroed at standing, with intervals.

    Parameters
    ----------
    results : StudyResults
        A study; means over participants stand at the foot, in diamonds.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    trials : sequence of TrialResult, optional
        The rows; without them, every recording with a reference under the first procedure.
    means : bool
        Whether means over participants are drawn, where all rows are of one procedure.
    legend : bool
        Whether the marks are named, above the axes.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no recording has a reference.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_offsets(results)
    """
    rows = rows_of(results, trials, means=means, paired=True)
    with on_axes(ax, height_mm=_height(rows)) as axes:
        _rule_off_means(axes, rows)
        compared = list(enumerate(rows.compared))
        foot = enumerate(rows.means, start=len(rows.trials))
        _mark(axes, [(k, of.offset, of.offset_ci) for k, (_, of) in compared], AS_RECORDED)
        _mark(
            axes,
            [(k, t.offset_zeroed_deg, t.offset_zeroed_ci_deg) for k, (t, _) in compared],
            ZEROED,
        )
        _mark(axes, [(k, mean.offset, mean.offset_ci) for k, (_, mean) in foot], OF_ALL)
        axes.axvline(0, color=INK, linewidth=0.5)
        _finish(axes, rows, "Offset (°)")
        if legend and rows.zeroed:
            axes.legend(handles=handles_of(BOTH_OFFSETS), **_ABOVE)
    return axes


def plot_rms(
    results: StudyResults,
    ax: Axes | None = None,
    *,
    trials: Sequence[TrialResult] | None = None,
    means: bool = True,
) -> Axes:
    """Draw each recording's RMS of the demeaned mean curves, with its interval.

    Parameters
    ----------
    results : StudyResults
        A study; means over participants stand at the foot, in diamonds.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    trials : sequence of TrialResult, optional
        The rows; without them, every recording with a reference under the first procedure.
    means : bool
        Whether means over participants are drawn, where all rows are of one procedure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no recording has a reference.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_rms(results)
    """
    rows = rows_of(results, trials, means=means, paired=True)
    with on_axes(ax, height_mm=_height(rows)) as axes:
        _rule_off_means(axes, rows)
        for start, found, how in (
            (0, rows.compared, PLAIN),
            (len(rows.trials), rows.means, OF_ALL),
        ):
            numbers = [(of.rms_demeaned, of.rms_demeaned_ci) for _, of in found]
            _mark(axes, [(k, *each) for k, each in enumerate(numbers, start)], how)
        _finish(axes, rows, "RMS of demeaned curves (°)")
        axes.set_xlim(left=0)
    return axes


def plot_sds(
    results: StudyResults,
    ax: Axes | None = None,
    *,
    trials: Sequence[TrialResult] | None = None,
    means: bool = True,
    legend: bool = True,
) -> Axes:
    """Draw each recording's SD over cycles, of the wearable and the reference, with intervals.

    Parameters
    ----------
    results : StudyResults
        A study; means over participants stand at the foot, in diamonds or their own marks.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.
    trials : sequence of TrialResult, optional
        The rows; without them, every recording under the first procedure, where there are such
        with a reference only they.
    means : bool
        Whether means over participants are drawn, where all rows are of one procedure.
    legend : bool
        Whether the marks are named, above the axes.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no recording has an SD.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_sds(results)
    """
    rows = rows_of(results, trials, means=means, paired=False)
    with on_axes(ax, height_mm=_height(rows)) as axes:
        _rule_off_means(axes, rows)
        for number, how in (("wearable", OF_WEARABLE), ("reference", OF_REFERENCE)):
            found = [getattr(trial, f"{number}_variability") for trial in rows.trials]
            _mark(axes, [(k, of.sd, of.sd_ci) for k, of in enumerate(found) if of], how)
        foot = list(enumerate(rows.sds, start=len(rows.trials)))
        _mark(axes, [(k, of.test_sd, of.test_sd_ci) for k, of in foot], OF_WEARABLE)
        _mark(axes, [(k, of.reference_sd, of.reference_sd_ci) for k, of in foot], OF_REFERENCE)
        _finish(axes, rows, "SD over cycles (°)")
        if legend and rows.both:
            axes.legend(handles=handles_of(BOTH_INSTRUMENTS), **_ABOVE)
    return axes


@dataclass(frozen=True, slots=True)
class Rows:
    """What stands in the rows: recordings, and means over participants at the foot."""

    names: tuple[str, ...]
    trials: tuple[TrialResult, ...]
    means: tuple[tuple[str, PooledCurves], ...]
    sds: tuple[PooledVariability, ...]

    @property
    def n(self) -> int:
        """How many rows there are."""
        return len(self.trials) + len(self.means)

    @property
    def compared(self) -> list[tuple[TrialResult, CurveAgreement]]:
        """Each recording with its mean curves compared."""
        what = "mean curves of both instruments"
        return [(trial, part_of(trial, trial.agreement, what)) for trial in self.trials]

    @property
    def zeroed(self) -> bool:
        """Whether one was zeroed at standing as well."""
        return any(np.isfinite(trial.offset_zeroed_deg) for trial in self.trials)

    @property
    def both(self) -> bool:
        """Whether one has a reference."""
        return any(trial.reference_variability is not None for trial in self.trials)


def rows_of(
    results: StudyResults, trials: Sequence[TrialResult] | None, *, means: bool, paired: bool
) -> Rows:
    """Return what is drawn a row each, or say what is missing."""
    study = study_of(results)
    everyone = recordings_of(study)
    with_reference = [trial for trial in everyone if trial.agreement is not None]
    chosen = trials_of(trials) if trials is not None else with_reference or everyone
    if not chosen or (paired and not any(trial.agreement for trial in chosen)):
        raise ValueError(
            "There is nothing to draw: no recording here "
            f"{'has a reference to be compared with' if chosen else 'has numbers'}."
        )
    of_means = {trial.procedure for trial in chosen}
    pooled = list[tuple[str, PooledCurves]]()
    if means and len(of_means) == 1 and any(trial.agreement for trial in chosen):
        pooled = _pooled(study, *of_means)
    sds = [v for key, v in named(study.variability) if key[0] in of_means and v.n_participants > 1][
        : len(pooled)
    ]
    names = [*row_names(study, chosen), *(name for name, _ in pooled)]
    return Rows(tuple(names), tuple(chosen), tuple(pooled), tuple(sds))


def _height(rows: Rows) -> float:
    """Return the height of a figure of its own."""
    return 22 + 1.3 * ROW_MM * rows.n


def _rule_off_means(axes: Axes, rows: Rows) -> None:
    """Draw the line above the means."""
    if rows.means and len(rows.trials) > 1:
        axes.axhline(len(rows.trials) - 0.5, color=FAINT, linewidth=0.5)


def _finish(axes: Axes, rows: Rows, label: str) -> None:
    """Name the rows, and label the axis."""
    axes.set_ylim(rows.n - 0.4, -0.6)
    axes.set_yticks(range(rows.n), rows.names)
    _keep_numbers_in_view(axes)
    axes.set_xlabel(label)
    few_ticks(axes, x=5, y=None)


def _pooled(results: StudyResults, procedure: str) -> list[tuple[str, PooledCurves]]:
    """Return the means over participants, a condition each, of one procedure."""
    found = [(key[1], curves) for key, curves in named(results.curves) if key[0] == procedure]
    several = len(found) > 1
    return [
        (f"Mean, {shortened(condition, 12)}" if several else "Mean", curves)
        for condition, curves in found
        if curves.n_participants > 1
    ]


def _keep_numbers_in_view(axes: Axes) -> None:
    """Let an interval that is out of all proportion leave the panel, so that numbers stay apart."""
    drawn = [line.get_xdata() for line in axes.lines if line.get_linestyle() == "None"]
    marks = [float(x) for each in drawn for x in np.asarray(each, dtype=float)]
    if not marks:
        return
    reach = _WIDEST * max(max(map(abs, marks)), max(marks) - min(marks))
    low, high = axes.get_xlim()
    axes.set_xlim(max(low, min(marks) - reach), min(high, max(marks) + reach))


def _mark(axes: Axes, numbers: Sequence[tuple[int, float, Ends]], how: _Mark) -> None:
    """Draw one kind of number and its intervals, each in its row; one line for all of them."""
    rows = np.array([row for row, _, _ in numbers]) + how.shift
    values = np.array([value for _, value, _ in numbers], dtype=float)
    ends = np.array([each for _, _, each in numbers], dtype=float).reshape(-1, 2)
    spans, known = np.isfinite(ends).all(axis=1), np.isfinite(values)
    if spans.any():
        gap = np.full((int(spans.sum()), 1), np.nan)
        axes.plot(
            np.hstack([ends[spans], gap]).ravel(), np.repeat(rows[spans], 3),
            color=how.colour, linewidth=0.8, label="_intervals",
        )  # fmt: skip
    if known.any():
        axes.plot(
            values[known], rows[known], how.marker, color=how.colour, markersize=2.8,
            markerfacecolor="white" if how.hollow else how.colour, markeredgewidth=0.8,
        )  # fmt: skip


def handles_of(named_marks: Sequence[tuple[str, _Mark]]) -> list[Line2D]:
    """Return what names the marks."""
    from matplotlib.lines import Line2D

    return [
        Line2D([], [], linestyle="", marker=how.marker, color=how.colour, label=name,
               markerfacecolor="white" if how.hollow else how.colour)
        for name, how in named_marks
    ]  # fmt: skip
