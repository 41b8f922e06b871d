"""Figure of a recording's synchronisation: lag, drift and their errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from twinangle.plotting.alternatives import of_synchronisation
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import (
    BAND,
    DOUBLE_MM,
    FAINT,
    INK,
    LIMIT_DASH,
    POINT,
    add_panel,
    few_ticks,
    letter,
    new_figure,
)
from twinangle.plotting.onto import on_axes, part_of, trial_of
from twinangle.plotting.thinning import envelope
from twinangle.results import TrialResult
from twinangle.results.clock_found import ClockFound
from twinangle.signals.recording import Array, Synchronisation
from twinangle.wording import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_synchronisation(trial: TrialResult) -> Drawn | None:
    """Draw the correlation over candidate lags, the windowed lags, and the line with its error."""
    clock = trial.synchronisation
    if clock is None or not (clock.candidate_lags_s.size or clock.window_lag_s.size):
        return None
    figure = new_figure(DOUBLE_MM, 44)
    captions = []
    if clock.candidate_lags_s.size:
        axes = plot_correlation(trial, add_panel(figure, 13, 9, 62, 29))
        letter(axes, "a Correlation")
        captions.append(_said_of_correlation(clock))
    if clock.window_lag_s.size:
        letter(plot_lags(trial, add_panel(figure, 90, 9, 36, 29)), "b Lag over time")
        letter(plot_lags_off_line(trial, add_panel(figure, 142, 9, 34, 29)), "c Off the line")
        captions.append(_said_of_windows(clock))
        captions.append(_said_of_departures(clock, trial.clock))
    caption = f"Synchronisation: {'; '.join(captions)}."
    return Drawn("synchronisation", figure, caption, of_synchronisation(trial, clock))


def plot_correlation(result: TrialResult | Synchronisation, ax: Axes | None = None) -> Axes:
    """Draw the correlation of the two angles at every lag tried, with its peak and the next best.

    Parameters
    ----------
    result : TrialResult or Synchronisation
        With what the search for the lag found.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If the clocks were not brought together by a search for the lag.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_correlation(results.trials[0])
    """
    clock = _clock_of(result)
    if not clock.candidate_lags_s.size:
        raise ValueError(_without(clock, "correlations at the lags tried", "cross-correlation"))
    with on_axes(ax) as axes:
        _draw_correlation(axes, clock)
    return axes


def plot_lags(result: TrialResult | Synchronisation, ax: Axes | None = None) -> Axes:
    """Draw the lag of each window, and the line of lag and drift, less the lag in the middle.

    Parameters
    ----------
    result : TrialResult or Synchronisation
        With the lags of single windows.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no lags of windows are known.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_lags(results.trials[0])
    """
    clock = _with_windows(result)
    with on_axes(ax) as axes:
        _draw_windows(axes, clock)
    return axes


def plot_lags_off_line(result: TrialResult | Synchronisation, ax: Axes | None = None) -> Axes:
    """Draw how far each window's lag lies off the line of lag and drift, with standard errors.

    A trial gives the line's own error as a band.

    Parameters
    ----------
    result : TrialResult or Synchronisation
        With the lags of single windows.
    ax : matplotlib.axes.Axes, optional
        Where to draw; without it, in a new figure.

    Returns
    -------
    matplotlib.axes.Axes
        The axes drawn on.

    Raises
    ------
    TypeError
        If the result is of another kind, or `ax` is no axes.
    ValueError
        If no lags of windows are known.

    Examples
    --------
    >>> from twinangle import plotting
    >>> ax = plotting.plot_lags_off_line(results.trials[0])
    """
    clock = _with_windows(result)
    with on_axes(ax) as axes:
        _draw_departures(axes, clock, result.clock if isinstance(result, TrialResult) else None)
    return axes


def _clock_of(result: TrialResult | Synchronisation) -> Synchronisation:
    """Return how the clocks were brought together, or say what would be accepted."""
    if isinstance(result, Synchronisation):
        return result
    return part_of(trial_of(result), result.synchronisation, "clock of a reference")


def _with_windows(result: TrialResult | Synchronisation) -> Synchronisation:
    """Return the same, with the lags of windows."""
    clock = _clock_of(result)
    if not clock.window_lag_s.size:
        raise ValueError(_without(clock, "lags of windows", "cross-correlation with drift"))
    return clock


def _without(clock: Synchronisation, what: str, accepted: str) -> str:
    return (
        f"Clocks brought together by {clock.method} hold no {what}; what was synchronised by "
        f"{accepted} does, as long as the results are those of the run itself."
    )


def _draw_correlation(axes: Axes, clock: Synchronisation) -> None:
    """Draw the correlation of the two angles at every lag tried."""
    axes.plot(
        *envelope(clock.candidate_lags_s, clock.candidate_correlation, 800),
        color=POINT,
        linewidth=0.6,
        label="correlation",
    )
    named = []
    if np.isfinite(clock.peak_correlation):
        named += axes.plot(
            [clock.lag_s], [clock.peak_correlation], "o", color=INK, label="peak", zorder=3
        )
        axes.axvline(clock.lag_s, color=INK, linewidth=0.5)
    if np.isfinite(clock.runner_up_correlation):
        named.append(
            axes.axhline(
                clock.runner_up_correlation, color=FAINT, linestyle=LIMIT_DASH, linewidth=0.8,
                label="runner-up",
            )
        )  # fmt: skip
    axes.set_xlim(clock.candidate_lags_s[0], clock.candidate_lags_s[-1])
    axes.set_xlabel("Lag added to the reference clock (s)")
    axes.set_ylabel("Correlation")
    few_ticks(axes, x=7, y=4)
    axes.legend(handles=named, loc="lower right", bbox_to_anchor=(1, 1.01), ncols=2)


def _said_of_correlation(clock: Synchronisation) -> str:
    """Say what the first panel shows."""
    said = "(a) correlation of the two angles at each lag tried"
    if np.isfinite(clock.peak_correlation):
        said += f", its peak {number(clock.peak_correlation, 3)} at {number(clock.lag_s, 3)} s"
    if np.isfinite(clock.runner_up_correlation):
        said += f", the next best {number(clock.runner_up_correlation, 3)} (dashed)"
    return said


def _draw_windows(axes: Axes, clock: Synchronisation) -> None:
    """Draw the lag of each window against the line of lag and drift."""
    centre_s = _middle(clock)
    level = clock.lag_s + centre_s * clock.drift_ppm * 1e-6
    _draw_points(axes, clock, (clock.window_lag_s - level) * 1e3)
    ends = _ends(clock)
    axes.plot(ends, (ends - centre_s) * clock.drift_ppm * 1e-3, color=FAINT, label="line")
    axes.set_xlabel("Reference clock (s)")
    axes.set_ylabel("Lag − middle (ms)")
    few_ticks(axes, x=4, y=4)


def _said_of_windows(clock: Synchronisation) -> str:
    """Say what the second panel shows."""
    return (
        "(b) lag of single stretches (windows) against the lag in the middle of the overlap, and "
        f"the line fitted to all samples, whose slope is the drift, {number(clock.drift_ppm, 1)} "
        "ppm (1 ppm is 1 ms in 1000 s)"
    )


def _draw_departures(axes: Axes, clock: Synchronisation, found: ClockFound | None) -> None:
    """Draw how far each window lies off the line, with its error, and the line's band."""
    line = clock.lag_s + clock.window_time_s * clock.drift_ppm * 1e-6
    _draw_points(axes, clock, (clock.window_lag_s - line) * 1e3)
    axes.axhline(0, color=FAINT, label="line")
    if found is not None and np.isfinite(found.line_se).any():
        error = 1e3 * found.line_se
        axes.fill_between(found.line_time, -error, error, color=BAND, linewidth=0)
    low, high = axes.get_ylim()
    reach = max(-low, high)
    axes.set_ylim(-reach, reach)
    axes.set_xlabel("Reference clock (s)")
    axes.set_ylabel("Lag − line (ms)")
    few_ticks(axes, x=4, y=4)


def _said_of_departures(clock: Synchronisation, found: ClockFound | None) -> str:
    """Say what the third panel shows."""
    said = "(c) the windows again, less the line"
    if np.isfinite(clock.window_lag_se_s).any():
        said += ", bars one standard error of a window's own scatter either side"
    if found is not None and np.isfinite(found.line_se).any():
        said += (
            ", band that of the line, without the lag's systematic part, which moves line and "
            "windows alike"
        )
    return said


def _draw_points(axes: Axes, clock: Synchronisation, off_ms: Array) -> None:
    """Draw the windows' lags, with bars where their errors are known."""
    time_s, errors = clock.window_time_s, clock.window_lag_se_s
    if errors.size == off_ms.size:
        reach, gap = 1e3 * np.nan_to_num(errors), np.full(off_ms.size, np.nan)
        ends = np.column_stack([off_ms - reach, off_ms + reach, gap]).ravel()
        axes.plot(np.repeat(time_s, 3), ends, color=INK, linewidth=0.6, label="_errors")
    axes.plot(time_s, off_ms, "o", color=INK, markersize=2.2, label="windows")


def _ends(clock: Synchronisation) -> Array:
    """Return the first and the last window's time, half a window wider."""
    time_s = clock.window_time_s
    slack = float(np.median(np.diff(time_s))) / 2 if time_s.size > 1 else 1.0
    return np.array([time_s.min() - slack, time_s.max() + slack])


def _middle(clock: Synchronisation) -> float:
    known = np.isfinite(clock.centre_s)
    return float(clock.centre_s if known else clock.window_time_s.mean())
