"""Walking in daily life, and what the reference's stretch says of the rest: the section on it."""

from __future__ import annotations

import math

from twinangle.cycles.daily_life import BeyondReference, DailyLife
from twinangle.report.blocks import Block, Column, Figures, described, figure, heading, text
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import Naming, key_with_wearable
from twinangle.wording import NOTHING, count, file_name, number

DAYS = (
    Column("Day", "a day: 24 hours from the first sample"),
    Column("Hours", "hours: those with samples"),
    Column(
        "Bouts",
        "a bout: a walk without a pause, turns and other strides left out within it included, with "
        "three or more kept strides",
    ),
    Column("Strides", "strides: those kept"),
    Column("Minutes walked", "minutes walked: from start to end of the bouts"),
    Column("Strides a minute"),
    Column("Range", "range: median range of motion of the strides"),
    Column("SD", "SD: of these ranges"),
    Column("Mean angle", "mean angle: median of the strides' means; a sensor that slips moves it"),
)
BINS = (
    Column("By"),
    Column("From – below"),
    Column(
        "Bouts",
        "bouts: by duration, each once, so that they add up; by cadence, every bout that has a "
        "stride in the bin, so that one may count in several",
    ),
    Column("Strides", "strides: by duration, those kept in bouts; by cadence, all that were kept"),
    Column("With reference", "with reference: held against it"),
    Column("Range"),
    Column("SD"),
)
UNITS = {"bout duration": "s", "cadence": "strides a minute"}
NOT_SPEED = (
    "Speed is not measured by two sensors on a leg: the rate of strides stands in its place."
)
OWN_CYCLES = (
    "Each wearable's strides are those that it cuts itself: nothing is carried from one to another "
    "in a recording that is read in stretches."
)
NOT_TESTED = (
    "That the agreement found with the reference holds for the rest was not measured: sensors "
    "slip, and movements come that the reference did not see."
)


def daily_life_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what recordings of a day or a week hold, each under its first procedure."""
    naming = Naming(results)
    blocks: list[Block] = []
    seen: set[object] = set()
    for trial in results.trials:
        if trial.daily is None or key_with_wearable(trial) in seen:
            continue
        seen.add(key_with_wearable(trial))
        blocks.append(heading(f"{trial.participant}, {naming.heading(trial)} ({trial.procedure})"))
        words, *tables = _of_recording(trial, trial.daily)
        name = file_name("daily-life", *key_with_wearable(trial))
        blocks += [words, *figure(name, figures), *tables]
    several = len({trial.wearable for trial in results.trials if trial.daily is not None}) > 1
    lead = [NOT_SPEED, OWN_CYCLES] if several else [NOT_SPEED]
    return [text(" ".join(lead)), *blocks] if blocks else []


def _of_recording(trial: TrialResult, daily: DailyLife) -> list[Block]:
    return [
        text(daily_life_words(trial, daily)),
        *described("Day by day, in degrees.", DAYS, _day_rows(daily), words=1),
        *described("By the bout's duration and by cadence, in degrees.", BINS, _bin_rows(daily),
                   words=2),
    ]  # fmt: skip


def daily_life_words(trial: TrialResult, daily: DailyLife) -> str:
    """Say in sentences what a long recording holds, and what may be said beyond the reference."""
    walked = sum(day.walking_min for day in daily.days)
    parts = [
        (
            f"{daily.recorded_h:.1f} h were recorded over {daily.duration_h:.1f} h, read in "
            f"{count(daily.n_stretches, 'stretch', 'stretches')}. In "
            f"{count(len(daily.bouts), 'bout')} of {walked:.0f} min together, and beside them, "
            f"{count(daily.n_strides, 'stride')} were kept, "
            f"{count(daily.n_left_out, 'cycle')} left out."
        )
    ]
    if daily.unread:
        parts.append(
            f"{count(len(daily.unread), 'stretch', 'stretches')} could not be analysed and are "
            f"not in these numbers: {' '.join(daily.unread)}"
        )
    parts.append(_beyond_words(daily.beyond) if daily.beyond else _none_words(trial))
    return " ".join(parts)


def _none_words(trial: TrialResult) -> str:
    if trial.agreement is None:
        return (
            "Nothing was held against a reference: nothing is known of the angle's agreement here."
        )
    return "Every stride has a reference."


def _beyond_words(beyond: BeyondReference) -> str:
    rate = f"{beyond.low_per_minute:.0f} to {beyond.high_per_minute:.0f} strides a minute"
    size = f"{beyond.low_range_deg:.0f}° to {beyond.high_range_deg:.0f}°"
    return (
        f"Agreement was measured on {count(beyond.n_with, 'stride')}, the middle 95 % of them at "
        f"{rate} and with ranges of motion of {size}. Of the {beyond.n_without} strides without a "
        f"reference {100 * beyond.share_alike:.0f} % lie within both; of the others nothing was "
        f"measured. {NOT_TESTED}"
    )


def _day_rows(daily: DailyLife) -> list[list[str]]:
    return [
        [
            str(day.day),
            number(day.recorded_h, 1),
            str(day.n_bouts),
            str(day.n_strides),
            number(day.walking_min, 1),
            number(day.strides_per_minute, 1),
            number(day.range_deg, 1),
            number(day.range_sd_deg, 1),
            number(day.mean_deg, 1),
        ]
        for day in daily.days
    ]


def _bin_rows(daily: DailyLife) -> list[list[str]]:
    return [
        [
            f"{one.by} ({UNITS[one.by]})",
            f"{one.low:g} – {one.high:g}" if math.isfinite(one.high) else f"from {one.low:g}",
            str(one.n_bouts),
            str(one.n_strides),
            str(one.n_with_reference),
            number(one.range_deg, 1) if one.n_strides else NOTHING,
            number(one.range_sd_deg, 1) if one.n_strides else NOTHING,
        ]
        for one in daily.bins
    ]
