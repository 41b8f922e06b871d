"""The table a run closes with, and what to look at next."""

from __future__ import annotations

import math
import re
from pathlib import Path

from rich import box
from rich.console import Console
from rich.measure import Measurement
from rich.table import Table

from twinangle.results import Pooled, StudyLimits, StudyResults, TrialResult, given, named
from twinangle.visible import visible, visible_texts

SHOWN_WARNINGS = 12
NO_MARGIN = (
    "No margin was stated (acceptable_deg under [agreement]): the limits are tested against none."
)
IDENTIFIERS = ("participant", "session", "condition", "trial", "side", "procedure")


def print_closing(results: StudyResults, out: Path) -> None:
    """Print the trials, the pooled limits, warnings and failures, and where the outputs are."""
    results = visible_texts(results)
    console = Console(highlight=False, markup=False, emoji=False)
    table = _trial_table(results)
    needed = Measurement.get(console, console.options.update(max_width=1000), table).maximum
    if not console.is_terminal:
        console = Console(highlight=False, markup=False, emoji=False, width=max(100, needed))
    # A table that is too wide would lose whole columns, not only letters.
    console.print(table if needed <= console.width else _narrow_table(results))
    for line in _pooled_recordings(results):
        console.print(line)
    verdicts = dict(named(results.equivalence))
    for pooled, found in given(results.limits):
        if pooled.quantity == "mean_deg":
            console.print(_limits_sentence(pooled, found))
            claim = verdicts.get((pooled.procedure, pooled.condition, pooled.quantity))
            if claim is not None:
                console.print(f"  {claim.summary('°')}")
            console.print(f"  {found.zero_sentence()}")
    if results.limits and results.options.margin_deg is None:
        console.print(NO_MARGIN)
    _print_troubles(console, results)
    report = visible(str(out / "report.pdf"))
    numbers = f"{out / 'results.json'}, {out / 'tables'}; figures: {out / 'figures'}"
    console.print(f"Report: {report}", soft_wrap=True)
    console.print(f"Numbers: {visible(numbers)}", soft_wrap=True)


def _trial_table(results: StudyResults) -> Table:
    """Return the closing table; identifiers that are the same everywhere are left out."""
    table, shown = _empty_table(results), _shown(results)
    for name in shown:
        table.add_column(name.capitalize(), no_wrap=True)
    _add_numbers(table)
    for trial in results.trials:
        table.add_row(*(getattr(trial, name) for name in shown), *_cells(trial))
    return table


def _narrow_table(results: StudyResults) -> Table:
    """Return the closing table with a line a recording and its procedures below it."""
    table = _empty_table(results)
    table.add_column("Recording, procedure", overflow="fold")
    _add_numbers(table)
    recording = [name for name in _shown(results) if name != "procedure"]
    above = ""
    for trial in results.trials:
        label = " ".join(filter(None, (getattr(trial, name) for name in recording)))
        if label != above:
            table.add_row(label, style="bold")
            above = label
        table.add_row(f" {trial.procedure}", *_cells(trial))
    return table


def _empty_table(results: StudyResults) -> Table:
    return Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        title=results.title,
        caption="Offset and RMS of the mean curves' difference (wearable minus reference; RMS "
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
        found = f"{len(one.trials)} recordings pooled, {one.n_cycles} cycles"
        if one.agreement is not None:
            found += f": {one.agreement.summary('°')}"
        lines.append(f"{who} ({one.procedure}): {one.reason or found}")
    return lines


def _number(value: float | None, decimals: int) -> str:
    if value is None or not math.isfinite(value):
        return "-"
    return f"{value:.{decimals}f}"


def _limits_sentence(pooled: Pooled[StudyLimits], found: StudyLimits) -> str:
    where = f"{pooled.condition}, {pooled.procedure}, mean of the cycle"
    return f"{where}: {found.limits.summary('°')}"


def _warnings(results: StudyResults) -> list[str]:
    """Return a line a warning; those that differ in numbers alone share one."""
    alike: dict[str, list[tuple[str, str]]] = {}
    for trial in results.trials:
        for text in trial.warnings:
            key = re.sub(r"\d+(?:\.\d+)?", "#", text)
            alike.setdefault(key, []).append((text, f"{trial.label} ({trial.procedure})"))
    lines = []
    for found in alike.values():
        text, where = found[0]
        more = f" and {len(found) - 1} more" if len(found) > 1 else ""
        numbers = (
            " (The others differ in numbers.)" if any(other != text for other, _ in found) else ""
        )
        lines.append(f"{where}{more}: {text}{numbers}")
    return lines


def _print_troubles(console: Console, results: StudyResults) -> None:
    """Print failures in full and warnings up to a dozen; the report has them all."""
    failed: dict[tuple[str, str], list[str]] = {}
    for trial in results.trials:
        if trial.status == "failed":
            failed.setdefault((trial.label, trial.reason), []).append(trial.procedure)
    for (label, reason), procedures in failed.items():
        text = f"Failed: {label} ({', '.join(procedures)}): {reason}"
        console.print(text, style="bold")
    warnings = _warnings(results)
    for line in warnings[:SHOWN_WARNINGS]:
        console.print(f"Warning: {line}")
    if len(warnings) > SHOWN_WARNINGS:
        console.print(f"{len(warnings) - SHOWN_WARNINGS} further warnings are in the report.")
    for text in results.notes:
        console.print(f"Note: {text}")
