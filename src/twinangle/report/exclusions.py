"""What was left out and why, and what to beware of: trials, cycles and warnings."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.blocks import Block, bullets, heading, table, text
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming, procedures
from twinangle.results.told import Told, cycles_left_out, warnings_told
from twinangle.wording import NOTHING, count

GRAVEST = 3
SHOWN = 8  # lines of warnings in the report; the supplement has every one


def exclusions_section(results: StudyResults) -> list[Block]:
    """Return the gravest warnings, then what was left out, then the other warnings in short."""
    told = [each for each in warnings_told(results) if each.gravity != "note"]
    blocks: list[Block] = []
    if told:
        blocks += [heading("Beware"), bullets([_line(each) for each in told[:GRAVEST]])]
    blocks += [text(note) for note in results.notes]
    naming = Naming(results)
    for status, title in (("failed", "Failed"), ("excluded", "Excluded beforehand")):
        rows = _status_rows(results, naming, status)
        if rows:
            head = ("Participant", "Recording", "Procedure", "Reason")
            blocks += [heading(title), table(head, rows, words=4)]
    blocks += _reason_table(results)
    rest = told[GRAVEST:]
    if rest:
        blocks += [heading("Further warnings"), bullets([_line(each) for each in rest[:SHOWN]])]
    if len(rest) > SHOWN:
        blocks.append(text(f"{len(rest) - SHOWN} more are in the supplement."))
    return blocks or [text("Nothing was left out, and nothing is warned of.")]


def warnings_section(results: StudyResults) -> list[Block]:
    """Return everything that is told of the recordings, like things together, and of which."""
    rows = [
        [_LEAD.get(each.gravity, "") + each.text + _others(each), _first_few(each.places)]
        for each in warnings_told(results)
    ]
    if not rows:
        return []
    return [
        table(
            ("What is told", "Recordings"),
            rows,
            words=2,
            caption="Each kind of warning once, the gravest first, in its first wording. All "
            "wordings are in tables/warnings.csv.",
        )
    ]


_LEAD = {"grave": "Grave: ", "note": "Note: "}


def _line(told: Told) -> str:
    """Return a warning with how many recordings it is told of."""
    n = len(told.places)
    where = told.places[0] if n == 1 else count(n, "recording")
    return f"{where}: {told.text}{_others(told)}"


def _others(told: Told) -> str:
    return " (The others differ in wording or numbers.)" if told.varies else ""


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
    tally = cycles_left_out(results)
    if not tally:
        return []
    names = procedures(results)
    rows = [[kind, *(str(row[name]) for name in names)] for kind, row in tally.items()]
    return [
        heading("Cycles left out"),
        table(
            ("Reason", *names),
            rows,
            caption="Cycles left out, all recordings. Every one of them, with its time and reason, "
            "is in tables/exclusions.csv.",
        ),
    ]


def _first_few(places: Sequence[str], limit: int = 12) -> str:
    """Return a few places and how many more there are."""
    shown = "; ".join(places[:limit])
    more = len(places) - limit
    return f"{shown}; and {more} more (tables/warnings.csv)" if more > 0 else shown
