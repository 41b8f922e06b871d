"""What follows from a recording's clock: the drift's interval, and the line's error over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.agreement._result import NO_INTERVAL, Interval
from twinangle.card import Shown
from twinangle.clocks import drift_interval, line_se_s
from twinangle.declare import measured
from twinangle.options import Options
from twinangle.signals.recording import Array, Synchronisation

POINTS_OF_LINE = 50


@dataclass(frozen=True, slots=True, eq=False)
class ClockFound(Shown):
    """Interval of the drift, and where the line of lag and drift lies with which error.

    The arrays are over the reference's clock, from half a window before the first window to half
    a window after the last; empty without windows.
    """

    drift_ci: Annotated[Interval, measured("ppm", "interval of the drift; NaN without one")]
    line_time: Annotated[Array, measured("s", "times on the reference's clock")]
    line_se: Annotated[
        Array, measured("s", "the line's standard error there, without the lag's systematic part")
    ]


def clock_found(clock: Synchronisation, options: Options) -> ClockFound:
    """Return what follows from a recording's clock.

    Parameters
    ----------
    clock : Synchronisation
        As found by any method.
    options : Options
        Of whose confidence the interval is.
    """
    drift = drift_interval(clock, confidence=options.confidence)
    times = _line_times(clock.window_time_s)
    error = line_se_s(clock, times) if times.size else None
    return ClockFound(
        drift_ci=NO_INTERVAL if drift is None else (drift.start_s, drift.end_s),
        line_time=times,
        line_se=np.full(times.size, np.nan) if error is None else error,
    )


def _line_times(window_s: Array) -> Array:
    """Return evenly spaced times over the windows, half a window wider at either end."""
    if not window_s.size:
        return np.empty(0)
    slack = float(np.median(np.diff(window_s))) / 2 if window_s.size > 1 else 1.0
    ends = float(window_s.min()) - slack, float(window_s.max()) + slack
    return np.linspace(*ends, POINTS_OF_LINE)
