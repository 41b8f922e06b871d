"""What was left out and why: trials, cycles, and every warning."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.blocks import Block, heading, table, text
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming, procedures, warnings_of
from twinangle.wording import NOTHING


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
    blocks += [heading("Warnings"), *_warning_table(results, naming)]
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


def _warning_table(results: StudyResults, naming: Naming) -> list[Block]:
    """Return every warning once, with the recordings it was given for."""
    found: dict[str, list[str]] = {}
    for trial in results.trials:
        for line in warnings_of(trial):
            found.setdefault(line, []).append(
                f"{trial.participant} {naming.heading(trial)} ({trial.procedure})"
            )
    if not found:
        return [text("None.")]
    rows = [[line, _first_few(places)] for line, places in found.items()]
    return [table(("Warning", "Recordings"), rows, words=2)]


def _first_few(places: Sequence[str], limit: int = 4) -> str:
    """Return a few places and how many more there are."""
    shown = "; ".join(places[:limit])
    more = len(places) - limit
    return f"{shown}; and {more} more (tables/warnings.csv)" if more > 0 else shown
