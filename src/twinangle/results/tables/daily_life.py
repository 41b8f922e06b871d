"""Tables of recordings of a day or a week: bouts, days, and bins of duration and cadence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from twinangle.declare import data, measured, number
from twinangle.results.model import StudyResults
from twinangle.results.tables.columns import Table, row_of
from twinangle.results.tables.identity import OfTrial


@dataclass(frozen=True, slots=True)
class DailyBoutRow(OfTrial):
    """One bout of a long recording: a walk without a pause, at least three of its strides kept."""

    bout: Annotated[int, number("number of the bout, from 1")]
    start_s: Annotated[
        float, measured("s", "start of its first stride, kept or not, on the wearable's clock")
    ]
    end_s: Annotated[float, measured("s", "end of its last stride, kept or not")]
    n_strides: Annotated[int, number("strides kept of the bout")]
    n_left_out: Annotated[
        int, number("strides of the bout left out: turns, start, stop, outliers, by hand")
    ]
    strides_per_minute: Annotated[
        float, number("strides a minute, from the kept ones' median duration")
    ]
    range_deg: Annotated[float, data("median range of motion of the kept strides")]
    mean_deg: Annotated[float, data("median of the kept strides' mean angles")]


@dataclass(frozen=True, slots=True)
class DayRow(OfTrial):
    """24 hours of a long recording, counted from its first sample."""

    day: Annotated[int, number("number of the day, from 1")]
    recorded_h: Annotated[float, measured("h", "hours of that day with samples")]
    n_bouts: Annotated[int, number("bouts that begin on that day")]
    n_strides: Annotated[int, number("kept strides that begin on that day")]
    walking_min: Annotated[float, measured("min", "minutes from start to end of the bouts")]
    strides_per_minute: Annotated[float, number("strides a minute, from their median duration")]
    range_deg: Annotated[float, data("median range of motion of the strides")]
    range_sd_deg: Annotated[float, data("SD of the ranges of motion (n - 1)")]
    mean_deg: Annotated[float, data("median of the strides' mean angles")]


@dataclass(frozen=True, slots=True)
class DailyBinRow(OfTrial):
    """The kept strides of a long recording in bouts of some duration, or at some cadence."""

    by: Annotated[str, number("what the bins are of: bout duration or cadence")]
    low: Annotated[float, number("lower edge, s or strides a minute; belongs to the bin")]
    high: Annotated[float, number("upper edge, likewise; empty for none")]
    n_bouts: Annotated[int, number("bouts in the bin, or that have a stride in it")]
    n_strides: Annotated[int, number("strides in the bin")]
    n_with_reference: Annotated[int, number("those with a reference")]
    range_deg: Annotated[float, data("median range of motion of the strides")]
    range_sd_deg: Annotated[float, data("SD of the ranges of motion (n - 1)")]


def _bouts(results: StudyResults) -> Iterator[DailyBoutRow]:
    for trial in results.trials:
        for k, bout in enumerate(trial.daily.bouts if trial.daily else ()):
            yield row_of(DailyBoutRow, bout, trial, bout=k + 1)


def _days(results: StudyResults) -> Iterator[DayRow]:
    for trial in results.trials:
        for day in trial.daily.days if trial.daily else ():
            yield row_of(DayRow, day, trial)


def _bins(results: StudyResults) -> Iterator[DailyBinRow]:
    for trial in results.trials:
        for one in trial.daily.bins if trial.daily else ():
            yield row_of(DailyBinRow, one, trial)


DAILY_TABLES = (
    Table("daily_bouts", "every bout of recordings read in stretches", DailyBoutRow, _bouts),
    Table("daily_days", "recordings read in stretches, 24 hours a row", DayRow, _days),
    Table("daily_bins", "their strides by bout duration and cadence", DailyBinRow, _bins),
)
