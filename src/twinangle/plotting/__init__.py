"""Figures of results: every `plot_…` function draws one panel on axes of your own.

Each takes a finished result and computes nothing, changes nothing beyond its axes, labels them with
units and returns them; the report's figures are put together from the same functions. Without
`ax` a function makes a figure of its own, which shows itself at the end of a notebook's cell and
is saved by ``ax.figure.savefig("limits.pdf")``.

>>> import matplotlib.pyplot as plt
>>> from twinangle import plotting, read_results
>>> results = read_results("results")
>>> with plotting.style():
...     figure, axes = plt.subplots(1, 2, layout="constrained")
...     plotting.plot_mean_curves(results.curves[0], axes[0])
...     plotting.plot_limits(results.limits[0], axes[1], margin_deg=results.acceptable_deg)
...     figure.savefig("both.png", dpi=300)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from twinangle.plotting.along_cycle import plot_along_cycle
    from twinangle.plotting.budget import plot_budget
    from twinangle.plotting.clocks import plot_correlation, plot_lags, plot_lags_off_line
    from twinangle.plotting.conditions import plot_condition_differences, plot_condition_sds
    from twinangle.plotting.curves import plot_mean_curves, plot_mean_difference
    from twinangle.plotting.cycle_panels import (
        plot_cycle_differences,
        plot_cycle_durations,
        plot_cycle_means,
        plot_cycle_sds,
        plot_cycles,
    )
    from twinangle.plotting.daily_life import plot_bouts, plot_cadences, plot_strides_by_hour
    from twinangle.plotting.distribution import plot_histogram, plot_quantiles
    from twinangle.plotting.limits import plot_limits
    from twinangle.plotting.looks import style
    from twinangle.plotting.magnetic_field import plot_field
    from twinangle.plotting.quiet_standing import plot_standing
    from twinangle.plotting.ranking import plot_rank_differences, plot_ranks
    from twinangle.plotting.recording_rows import plot_offsets, plot_rms, plot_sds
    from twinangle.plotting.traces import plot_recording, plot_traces

_HOME = {
    "plot_along_cycle": "along_cycle",
    "plot_budget": "budget",
    "plot_condition_differences": "conditions",
    "plot_condition_sds": "conditions",
    "plot_correlation": "clocks",
    "plot_cycle_differences": "cycle_panels",
    "plot_cycle_durations": "cycle_panels",
    "plot_cycle_means": "cycle_panels",
    "plot_bouts": "daily_life",
    "plot_cadences": "daily_life",
    "plot_cycle_sds": "cycle_panels",
    "plot_cycles": "cycle_panels",
    "plot_field": "magnetic_field",
    "plot_histogram": "distribution",
    "plot_lags": "clocks",
    "plot_lags_off_line": "clocks",
    "plot_limits": "limits",
    "plot_mean_curves": "curves",
    "plot_mean_difference": "curves",
    "plot_offsets": "recording_rows",
    "plot_quantiles": "distribution",
    "plot_rank_differences": "ranking",
    "plot_ranks": "ranking",
    "plot_recording": "traces",
    "plot_rms": "recording_rows",
    "plot_sds": "recording_rows",
    "plot_standing": "quiet_standing",
    "plot_strides_by_hour": "daily_life",
    "plot_traces": "traces",
    "style": "looks",
}

__all__ = [
    "plot_along_cycle",
    "plot_bouts",
    "plot_budget",
    "plot_cadences",
    "plot_condition_differences",
    "plot_condition_sds",
    "plot_correlation",
    "plot_cycle_differences",
    "plot_cycle_durations",
    "plot_cycle_means",
    "plot_cycle_sds",
    "plot_cycles",
    "plot_field",
    "plot_histogram",
    "plot_lags",
    "plot_lags_off_line",
    "plot_limits",
    "plot_mean_curves",
    "plot_mean_difference",
    "plot_offsets",
    "plot_quantiles",
    "plot_rank_differences",
    "plot_ranks",
    "plot_recording",
    "plot_rms",
    "plot_sds",
    "plot_standing",
    "plot_strides_by_hour",
    "plot_traces",
    "style",
]


def __getattr__(name: str) -> Any:
    """Import a public name on first use: most commands draw nothing."""
    if name not in _HOME:
        raise AttributeError(f"module 'twinangle.plotting' has no attribute {name!r}")
    return getattr(import_module(f"twinangle.plotting.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
