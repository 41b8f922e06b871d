"""One clock: lag, drift, their uncertainty, and the risk of a wrong stride."""

from twinangle.synchronise.crosscorrelation import synchronise
from twinangle.synchronise.event import event, find_events
from twinangle.synchronise.gyroscope import GyroscopeLag, by_gyroscopes, gyroscope_lag
from twinangle.synchronise.intervals import drift_interval, lag_interval
from twinangle.synchronise.pairing import TimingCost, align, timing_cost
from twinangle.synchronise.simple import manual, shared_clock
from twinangle.synchronise.trigger import trigger

__all__ = [
    "GyroscopeLag",
    "TimingCost",
    "align",
    "by_gyroscopes",
    "drift_interval",
    "event",
    "find_events",
    "gyroscope_lag",
    "lag_interval",
    "manual",
    "shared_clock",
    "synchronise",
    "timing_cost",
    "trigger",
]
