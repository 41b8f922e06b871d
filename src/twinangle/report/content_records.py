"""Pages that account for the run: what was left out, methods, settings and inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from twinangle.report.blocks import Block, bullets, heading, table, text
from twinangle.report.grouping import Naming, procedures
from twinangle.report.methods_text import cited, methods_paragraphs
from twinangle.report.wording import NOTHING
from twinangle.results import StudyResults
from twinangle.results.tables.trials import warnings_of


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


def methods_section(results: StudyResults) -> list[Block]:
    """Return the text for a paper, as in methods.txt."""
    paragraphs = methods_paragraphs(results)
    references = cited(paragraphs)
    blocks = [text(paragraph) for paragraph in paragraphs]
    return [*blocks, heading("References"), bullets(references)] if references else blocks


def provenance_section(results: StudyResults) -> list[Block]:
    """Return every setting and every input file with its hash."""
    rows = [[name, value] for name, value in flat_parameters(results.parameters)]
    blocks: list[Block] = []
    if rows:
        blocks.append(table(("Parameter", "Value"), rows, words=2))
    files = [[file.path, file.sha256] for file in results.inputs]
    if files:
        blocks.append(heading("Input files"))
        blocks.append({**table(("File", "SHA-256"), files, words=2), "mono": True})
    return blocks


def flat_parameters(parameters: Mapping[str, object], prefix: str = "") -> list[tuple[str, str]]:
    """Return nested parameters as (joined name, shown value), in their own order."""
    found: list[tuple[str, str]] = []
    for key, value in parameters.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            found += flat_parameters(value, f"{name}.")
        elif value is None:
            found.append((name, "not set"))
        elif isinstance(value, list | tuple):
            found.append((name, ", ".join(map(str, value)) or "none"))
        else:
            found.append(
                (name, {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value))
            )
    return found
