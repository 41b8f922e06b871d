"""The table a run closes with, and what to look at next."""

from __future__ import annotations

import math
import sys
from collections.abc import Collection, Iterator
from pathlib import Path

from rich import box
from rich.console import Console
from rich.measure import Measurement
from rich.table import Table

from twinangle.closing_groups import CAPTION, MOST_ROWS, fill_groups, left_out_lines
from twinangle.documents import DOCUMENTS, PAGE, PAPER, SUPPLEMENT, documents_of
from twinangle.report.answer import above_all
from twinangle.report.decisions import decisions_told
from twinangle.results import StudyResults, TrialResult
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.failures import failed_by_wearable, failure_lines
from twinangle.results.not_recorded import is_not_recorded, not_recorded_sentences
from twinangle.results.notices import FIRST, grouped_notices, warning_line
from twinangle.results.pair_words import pair_sentences
from twinangle.visible import make_visible, visible_texts
from twinangle.wording import count

MOST_NAMED = 6  # recordings named in a warning of a large study
IDENTIFIERS = ("participant", "session", "condition", "trial", "side", "procedure")


def _plain_console(width: int | None = None) -> Console:
    """Return where to print: bold type on a terminal only, though a notebook asks for it always."""
    terminal = sys.stdout.isatty()
    return Console(highlight=False, markup=False, emoji=False, width=width, force_terminal=terminal)


def print_closing(results: StudyResults, out: Path, *, every_row: bool = False) -> None:
    """Print the numbers, warnings and failures, and where the outputs are.

    A study of more rows than a terminal has lines gets a row a condition, unless `every_row`.
    """
    results = visible_texts(results)
    console = _plain_console()
    large = not every_row and len(_recorded(results)) > MOST_ROWS
    table = _group_table(results) if large else _trial_table(results)
    needed = Measurement.get(console, console.options.update(max_width=1000), table).maximum
    if not console.is_terminal:
        console = _plain_console(width=100 if large else max(100, needed))
    # A table that is too wide would lose whole columns, not only letters.
    console.print(table if large or needed <= console.width else _narrow_table(results))
    for line in (*not_recorded_sentences(results), *_pooled_recordings(results)):
        console.print(line)
    if failed := failed_by_wearable(results):
        console.print(failed, style="bold")
    if large:
        _print_gravest(console, results)
        console.print(
            f"All {len(_recorded(results))} rows, one a recording and what is under test: "
            "tables/trials.csv; `--every-row` prints them."
        )
    else:
        _print_troubles(console, results)
    print_answer(results, out, console)


def print_answer(
    results: StudyResults,
    out: Path,
    console: Console | None = None,
    documents: Collection[str] | None = None,
) -> None:
    """Print where the outputs are, and last of all the answer, as on the report's first page.

    Without `documents`, those are there that the run's parameters ask for.
    """
    results = visible_texts(results)
    console = console or _plain_console()
    documents = documents_of(results.parameters) if documents is None else documents
    console.print()
    for line in _places(out, documents):
        console.print(make_visible(line), soft_wrap=True)
    console.print("\nThe answer", style="bold")
    by_hand = decisions_told(results)
    found = (*answer_sentences(results), *pair_sentences(results), rests_on(results))
    told = (*above_all(results), *found, *filter(None, [by_hand]))
    for sentence in told:
        console.print(sentence)


def _places(out: Path, documents: Collection[str]) -> Iterator[str]:
    """Yield a line for each place where there is something to open."""
    page = f", {out / PAGE}" if PAGE in documents else ""
    yield f"Report: {out / 'report.pdf'}{page}"
    if SUPPLEMENT in documents:
        yield f"Supplement: {out / SUPPLEMENT}; figures: {out / 'figures'}"
    yield f"Numbers: {out / 'results.json'}, {out / 'tables'}"
    if PAPER in documents:
        yield f"For a paper: {out / PAPER}"
    if not set(DOCUMENTS) <= set(documents):
        yield f"Not asked for, and made by `twinangle report {out}`: " + ", ".join(
            name for name in DOCUMENTS if name not in documents
        )


def _trial_table(results: StudyResults) -> Table:
    """Return the closing table; identifiers that are the same everywhere are left out."""
    table, shown = _empty_table(results), _shown(results)
    for name in shown:
        table.add_column(name.capitalize(), no_wrap=True)
    _add_numbers(table)
    for trial in _recorded(results):
        names = (trial.shown if name == "procedure" else getattr(trial, name) for name in shown)
        table.add_row(*names, *_cells(trial))
    return table


def _narrow_table(results: StudyResults) -> Table:
    """Return the closing table with a line a recording and its procedures below it."""
    table = _empty_table(results)
    table.add_column("Recording, procedure", overflow="fold")
    _add_numbers(table)
    recording = [name for name in _shown(results) if name != "procedure"]
    above = ""
    for trial in _recorded(results):
        label = " ".join(filter(None, (getattr(trial, name) for name in recording)))
        if label != above:
            table.add_row(label, style="bold")
            above = label
        table.add_row(f" {trial.shown}", *_cells(trial))
    return table


def _recorded(results: StudyResults) -> list[TrialResult]:
    """Return the results of instruments that were there."""
    return [trial for trial in results.trials if not is_not_recorded(trial)]


def _group_table(results: StudyResults) -> Table:
    """Return the closing table of a large study."""
    table = _empty_table(results, caption=f"{CAPTION} A dash: no reference{_or_too_few(results)}.")
    fill_groups(table, results)
    return table


def _empty_table(results: StudyResults, caption: str = "") -> Table:
    return Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        title=results.title,
        caption=caption
        or "Lag: what is added to the reference's clock to give the wearable's. Offset and "
        "RMS of the mean curves' difference (wearable minus reference; RMS "
        "after both are demeaned) and per-cycle SDs, in degrees. A dash: no reference"
        f"{_or_too_few(results)}.",
        title_justify="left",
        caption_justify="left",
    )


def _or_too_few(results: StudyResults) -> str:
    short = any(trial.status == "pooled" for trial in results.trials)
    return ", or too few cycles for curves of its own" if short else ""


def _add_numbers(table: Table) -> None:
    for name in ("Cycles", "Lag s", "ppm", "Offset", "RMS", "SD wear.", "SD ref."):
        table.add_column(name, justify="right", no_wrap=True)


def _shown(results: StudyResults) -> list[str]:
    return [name for name in IDENTIFIERS if _tells(results, name)]


def _tells(results: StudyResults, name: str) -> bool:
    """Return whether an identifier is worth a column."""
    always = ("participant", "condition", "procedure")
    return name in always or len({getattr(trial, name) for trial in results.trials}) > 1


def _cells(trial: TrialResult) -> tuple[str, ...]:
    if trial.status not in ("ok", "pooled"):
        return (trial.status,)
    clock, curves, cycles = trial.synchronisation, trial.agreement, trial.cycles
    wearable, reference = trial.wearable_variability, trial.reference_variability
    return (
        f"{int(cycles.kept.sum())}/{len(cycles.reason)}" if cycles else "-",
        _number(clock.lag_s if clock else None, 4),
        _number(clock.drift_ppm if clock else None, 1),
        _number(curves.offset if curves else None, 2),
        _number(curves.rms_demeaned if curves else None, 2),
        _number(wearable.sd if wearable else None, 2),
        _number(reference.sd if reference else None, 2),
    )


def _pooled_recordings(results: StudyResults) -> list[str]:
    """Return a line for each person whose short recordings are pooled, or why they are not."""
    lines = []
    for one in results.recordings_pooled:
        who = " ".join(filter(None, (one.participant, one.condition, one.side)))
        found = f"{count(len(one.trials), 'recording')} pooled, {count(one.n_cycles, 'cycle')}"
        if one.agreement is not None:
            found += f": {one.agreement.summary('°')}"
        lines.append(f"{who} ({one.procedure}): {one.reason or found}")
    return lines


def _number(value: float | None, decimals: int) -> str:
    if value is None or not math.isfinite(value):
        return "-"
    return f"{value:.{decimals}f}"


def _print_troubles(console: Console, results: StudyResults) -> None:
    """Print failures in full and the gravest kinds of warnings; the report has them all."""
    for line in failure_lines(results):
        console.print(line, style="bold")
    rows = grouped_notices(results)
    warnings = [row for row in rows if row.gravity != "note"]
    for row in warnings[:FIRST]:
        style = "bold" if row.gravity == "grave" else None
        console.print(warning_line(row, results), style=style)
    if len(warnings) > FIRST:
        more = len(warnings) - FIRST
        kinds = count(more, "further kind of warning", "further kinds of warnings")
        console.print(f"{kinds} {'is' if more == 1 else 'are'} in the report.")
    for text in results.notes:
        console.print(f"Note: {text}")
    told = [row.kind for row in rows if row.gravity == "note"]
    if told:
        kinds = count(len(told), "kind", "kinds")
        console.print(f"Lesser notes on recordings ({kinds}) are in tables/warnings.csv.")


def _print_gravest(console: Console, results: StudyResults) -> None:
    """Print of a large study what failed, what was left out, and what is warned of gravely."""
    for line in left_out_lines(results):
        console.print(line, style="bold")
    rows = grouped_notices(results)
    grave = [row for row in rows if row.gravity == "grave"]
    for row in grave:
        console.print(warning_line(row, results, most=MOST_NAMED), style="bold")
    others = len(rows) - len(grave)
    for text in results.notes:
        console.print(f"Note: {text}")
    if others:
        kinds = count(others, "further kind", "further kinds")
        console.print(f"Lesser warnings and notes ({kinds}) are in the report and its supplement.")
