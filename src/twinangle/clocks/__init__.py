"""One clock: lag, drift, their uncertainty, and the risk of a wrong stride."""

from twinangle.clocks.clock_intervals import drift_interval, lag_interval, line_se_s
from twinangle.clocks.crosscorrelation import synchronise
from twinangle.clocks.gyroscope import (
    GyroscopeLag,
    by_gyroscopes,
    gyroscope_lag,
    held_against,
    lag_without_interval,
)
from twinangle.clocks.known import manual, shared_clock
from twinangle.clocks.pairing import TimingCost, align, timing_cost
from twinangle.clocks.stepped import Fault, Stepped, StepTold, StepWarned, lost_samples
from twinangle.clocks.steps import LagStep
from twinangle.clocks.synchronising_events import event, find_events
from twinangle.clocks.trigger import lag_by_trigger

__all__ = [
    "Fault",
    "GyroscopeLag",
    "LagStep",
    "StepTold",
    "StepWarned",
    "Stepped",
    "TimingCost",
    "align",
    "by_gyroscopes",
    "drift_interval",
    "event",
    "find_events",
    "gyroscope_lag",
    "held_against",
    "lag_by_trigger",
    "lag_interval",
    "lag_without_interval",
    "line_se_s",
    "lost_samples",
    "manual",
    "shared_clock",
    "synchronise",
    "timing_cost",
]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
