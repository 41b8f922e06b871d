"""Short recordings, whose cycles are pooled person by person: the section on them."""

from __future__ import annotations

from twinangle.report.blocks import Block, Column, described, heading, text, with_interval
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming
from twinangle.wording import NOTHING, number

POOLED = tuple(
    Column(name)
    for name in (
        "Participant", "Session", "Condition", "Side", "Procedure", "Recordings", "Cycles",
        "Offset", "RMS dem.", "SD wearable", "SD reference",
    )
)  # fmt: skip
SHORT = (
    Column("Participant"),
    Column("Recording"),
    Column("Procedure"),
    Column("Cycles", "cycles kept"),
    Column("Offset over time", "over time: sample by sample over the seconds that both instruments "
           "recorded"),
    Column("RMS over time", "RMS: once both are demeaned"),
    Column("Seconds"),
)  # fmt: skip


def recordings_pooled_section(results: StudyResults) -> list[Block]:
    """Return the curves of pooled recordings, and what each recording gives sample by sample."""
    given = [one for one in results.recordings_pooled if not one.reason]
    if not results.recordings_pooled:
        return []
    rows = [
        [
            one.participant,
            one.session,
            one.condition,
            one.side,
            one.procedure,
            str(len(one.trials)),
            str(one.n_cycles),
            NOTHING if (a := one.agreement) is None else with_interval(a.offset, a.offset_ci),
            NOTHING if a is None else with_interval(a.rms_demeaned, a.rms_demeaned_ci),
            NOTHING
            if (v := one.variability) is None
            else with_interval(v.wearable.sd, v.wearable.sd_ci),
            NOTHING if v is None or v.reference is None else number(v.reference.sd),
        ]
        for one in given
    ]
    blocks = [
        text(
            "These recordings keep too few cycles for curves of their own. The cycles of each "
            "person's short recordings of a session, condition and side are taken together, each "
            "counting the same; in every comparison below they stand as one recording. "
            "Differences between the recordings (a sensor's seat, speed) are part of the SD."
        )
    ]
    lead = f"Pooled recordings, in degrees, with {results.options.level} intervals over cycles."
    blocks += described(lead, POOLED, rows, words=5)
    blocks += [
        text(f"{one.participant} {one.condition} ({one.procedure}): {one.reason}")
        for one in results.recordings_pooled
        if one.reason
    ]
    return [*blocks, *_each(results)]


def _each(results: StudyResults) -> list[Block]:
    """Return what each short recording gives on its own."""
    naming = Naming(results)
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            trial.procedure,
            NOTHING if trial.cycles is None else str(int(trial.cycles.kept.sum())),
            number(None if (time := trial.over_time) is None else time.offset),
            number(None if time is None else time.rms_demeaned),
            number(None if time is None else time.duration_s, 1),
        ]
        for trial in results.trials
        if trial.status == "pooled"
    ]
    found = described("Short recordings on their own.", SHORT, rows, words=3)
    return [heading("Each of them"), *found] if found else []
