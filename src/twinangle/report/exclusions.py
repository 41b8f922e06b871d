"""What was left out and why: trials, cycles, and every warning."""

from __future__ import annotations

from twinangle.report.blocks import Block, heading, table, text
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming, procedures
from twinangle.results.notices import grouped_notices, named_recordings
from twinangle.wording import NOTHING

MOST_NAMED = 8  # recordings in a cell


def exclusions_section(results: StudyResults) -> list[Block]:
    """Return trials left out or failed, dropped cycles by reason, and all warnings."""
    naming = Naming(results)
    blocks: list[Block] = []
    for status, title in (("excluded", "Excluded beforehand"), ("failed", "Failed")):
        rows = _status_rows(results, naming, status)
        blocks.append(heading(title))
        blocks.append(
            table(("Participant", "Recording", "Procedure", "Reason"), rows, words=4)
            if rows
            else text("None.")
        )
    blocks += [heading("Cycles left out"), *_reason_table(results)]
    blocks += [heading("Warnings"), *_warning_tables(results)]
    return blocks


def _status_rows(results: StudyResults, naming: Naming, status: str) -> list[list[str]]:
    """Return one row a recording and reason, its procedures joined."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for trial in results.trials:
        if trial.status == status:
            key = (trial.participant, naming.heading(trial), trial.reason)
            found.setdefault(key, []).append(trial.procedure)
    return [
        [code, name, ", ".join(filter(None, used)) or NOTHING, reason or "no reason given"]
        for (code, name, reason), used in found.items()
    ]


def _reason_table(results: StudyResults) -> list[Block]:
    """Return how many cycles were left out for each reason, by procedure."""
    names = procedures(results)
    tally: dict[str, dict[str, int]] = {}
    for trial in results.trials:
        for reason in trial.cycles.reason if trial.cycles is not None else ():
            if reason:
                row = tally.setdefault(reason_kind(reason), dict.fromkeys(names, 0))
                row[trial.procedure] += 1
    if not tally:
        return [text("None.")]
    rows = [[kind, *(str(row[name]) for name in names)] for kind, row in sorted(tally.items())]
    return [
        table(
            ("Reason", *names),
            rows,
            caption="Cycles left out, all recordings. Every one of them, with its time and reason, "
            "is in tables/exclusions.csv.",
        )
    ]


def reason_kind(reason: str) -> str:
    """Return a reason without its figures, so that like reasons are counted together.

    What follows a colon, an opening bracket or a semicolon is the single cycle's detail.
    """
    kind = reason
    for mark in (":", " (", ";"):
        kind = kind.split(mark, 1)[0]
    return kind.strip() or reason


def _warning_tables(results: StudyResults) -> list[Block]:
    """Return every kind of warning, the gravest first, then the notes."""
    rows = grouped_notices(results)
    told: list[Block] = [] if any(row.gravity != "note" for row in rows) else [text("None.")]
    for title, held in (("Warning", False), ("Note", True)):
        shown = [row for row in rows if (row.gravity == "note") is held]
        if shown:
            head = (f"{title}, of the worst recording", "Recordings")
            cells = [[row.text, named_recordings(row, results, MOST_NAMED)] for row in shown]
            told.append(table(head, cells, words=2))
    more = any(len(row.trials) > MOST_NAMED for row in rows)
    if more or not all(row.alike for row in rows):
        told.append(text("Every one, with its recording, is in tables/warnings.csv."))
    return told
