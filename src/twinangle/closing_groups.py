"""The table that the run of a large study closes with: a row a condition, not a recording."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.table import Table

from twinangle.results import StudyResults, TrialResult
from twinangle.results.decided import BY_HAND
from twinangle.results.failures import failure_lines
from twinangle.results.grouping import distinct, key_of
from twinangle.results.not_recorded import is_not_recorded
from twinangle.results.pooled import named
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import SD_FREED, count, span

MOST_ROWS = 24
"""Rows of a table that has one a recording: the lines of a usual terminal."""
MOST_FAILURES = 12  # lines of recordings that failed or were excluded
CAPTION = (
    "Offset and RMS of the mean curves' difference (wearable minus reference; RMS after both are "
    "demeaned), limits of agreement of the mean over the cycle, and per-cycle SDs, in degrees, "
    f"over participants, the SDs {SD_FREED}. n: participants/recordings that could be analysed. "
    "Without a reference the SD is the smallest and the largest of a recording, as it stands."
)
Group = tuple[str, str]  # what is under test, without a reference that was not worn; condition


def fill_groups(table: Table, results: StudyResults) -> None:
    """Add a line a wearable and procedure, and below it a row a condition and reference."""
    table.add_column("Condition, reference", overflow="fold")
    for name in ("n", "Offset", "RMS", "Limits", "SD wear.", "SD ref."):
        table.add_column(name, justify="right", no_wrap=True)
    groups = _groups(results)
    cells = _Cells(results)
    above = ""
    for (name, condition), trials in _in_order(groups, results):
        heading = under_test(wearable_of(name), procedure_of(name))
        if heading != above:
            table.add_row(heading, style="bold")
            above = heading
        table.add_row(f" {_label(name, condition)}", *cells.of(name, condition, trials))


def left_out_lines(results: StudyResults) -> Iterator[str]:
    """Yield a line a recording that failed or was excluded; where they are many, the first."""
    excluded: dict[tuple[str, str], None] = {}
    for trial in results.trials:
        if trial.status == "excluded" and not is_not_recorded(trial):
            excluded[trial.label, trial.reason] = None
    lines = [
        *failure_lines(results),
        *(
            f"Excluded: {label}: {reason.removeprefix(BY_HAND) or 'no reason given'}"
            for label, reason in excluded
        ),
    ]
    yield from lines[:MOST_FAILURES]
    if len(lines) > MOST_FAILURES:
        more = count(len(lines) - MOST_FAILURES, "further line", "further lines")
        yield f"{more} of what failed or was excluded: tables/trials.csv."


def _groups(results: StudyResults) -> dict[Group, list[TrialResult]]:
    """Return the results that hold numbers by group; a group in which nothing worked is empty."""
    recorded = [trial for trial in results.trials if not is_not_recorded(trial)]
    groups: dict[Group, list[TrialResult]] = {}
    worked = {
        (trial.procedure, trial.condition) for trial in recorded if trial.status in ("ok", "pooled")
    }
    for trial in recorded:
        if trial.status in ("ok", "pooled"):
            groups.setdefault((trial.shown, trial.condition), []).append(trial)
        elif (trial.procedure, trial.condition) not in worked:
            groups.setdefault((trial.procedure, trial.condition), [])
    return groups


def _in_order(
    groups: dict[Group, list[TrialResult]], results: StudyResults
) -> list[tuple[Group, list[TrialResult]]]:
    """Return the groups wearable by wearable and procedure by procedure, as the study has them."""
    heads = distinct(
        under_test(trial.wearable, procedure_of(trial.procedure)) for trial in results.trials
    )
    conditions = distinct(trial.condition for trial in results.trials)

    def place(one: tuple[Group, list[TrialResult]]) -> tuple[int, int]:
        name, condition = one[0]
        head = under_test(wearable_of(name), procedure_of(name))
        return heads.index(head), conditions.index(condition)

    return sorted(groups.items(), key=place)


def _label(name: str, condition: str) -> str:
    """Return condition and reference, those of them that have a name."""
    return ", ".join(filter(None, (condition, reference_of(name)))) or "all recordings"


class _Cells:
    """Writes a group's numbers, as they stand in the results."""

    def __init__(self, results: StudyResults) -> None:
        self._curves = {key[:2]: value for key, value in named(results.curves)}
        self._variability = {key[:2]: value for key, value in named(results.variability)}
        self._limits = {
            key[:2]: value.limits
            for key, value in named(results.limits)
            if key[2] == "mean_deg"
        }  # fmt: skip

    def of(self, name: str, condition: str, trials: Sequence[TrialResult]) -> tuple[str, ...]:
        key = (name, condition)
        curves, limits = self._curves.get(key), self._limits.get(key)
        spread = self._variability.get(key)
        alone = [t.wearable_variability.sd for t in trials if t.wearable_variability is not None]
        return (
            f"{len({trial.participant for trial in trials})}/{len({key_of(t) for t in trials})}",
            span([curves.offset if curves else None]),
            span([curves.rms_demeaned if curves else None]),
            "–" if limits is None else f"{span([limits.lower])} to {span([limits.upper])}",
            span([spread.test_sd] if spread else alone).replace(" to ", "–"),
            span([spread.reference_sd if spread else None]),
        )
