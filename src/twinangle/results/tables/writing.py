"""Writing every table of a run, and the dictionary that describes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path

from twinangle.results.model import StudyResults
from twinangle.results.tables.columns import (
    Column,
    Table,
    TrialTable,
    columns_of,
    further_columns,
)
from twinangle.results.tables.csv_files import PRINTABLE, csv_lines, write_csv
from twinangle.results.tables.cycle_points import (
    CYCLES,
    TRACES,
    CyclePoint,
    TraceSample,
    cycle_tables,
    merge_trace_parts,
    trace_tables,
)
from twinangle.results.tables.daily_life import DAILY_TABLES
from twinangle.results.tables.decisions import DECISION_TABLES
from twinangle.results.tables.dictionary import Described, write_dictionary
from twinangle.results.tables.instruments import SEVERAL_TABLES
from twinangle.results.tables.parquet import write_parquet
from twinangle.results.tables.pooled import POOLED_TABLES
from twinangle.results.tables.provenance import STUDY_TABLES
from twinangle.results.tables.trials import TRIAL_TABLES
from twinangle.results.trial_result import TrialResult

TABLES: tuple[Table, ...] = (
    *POOLED_TABLES,
    *STUDY_TABLES,
    *DECISION_TABLES,
    *TRIAL_TABLES,
    *DAILY_TABLES,
)
Lines = tuple[tuple[str, str], ...]  # of a table, unrounded and rounded, many rows in each
_TABLES_OF_TRIALS = tuple(table for table in TABLES if isinstance(table, TrialTable))
CURVES: tuple[tuple[str, type, str], ...] = (
    (CYCLES, CyclePoint, "curves of every cycle found, a point a row"),
    (TRACES, TraceSample, "both instruments on one clock, a sample a row"),
)


def tables_of(results: StudyResults) -> tuple[Table, ...]:
    """Return the tables of a run: those of several instruments only where it has several."""
    return (*TABLES, *SEVERAL_TABLES) if results.pairs else TABLES


def write_tables(
    results: StudyResults, folder: Path, *, trace_parts: Sequence[Path] = ()
) -> tuple[Path, ...]:
    """Write every table and the dictionary, and return the files.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    folder : Path
        An existing folder.
    trace_parts : sequence of Path
        Traces that were written recording by recording (`write_trace_part`), in the order of the
        run, where `results` no longer hold them; a part that does not exist is passed over, the
        others are removed.

    Returns
    -------
    tuple of Path
        The unrounded CSV files, the rounded ones, those in Parquet, and the dictionary.
    """
    for name in table_names(results):
        write_table(folder, results, name)
    further = further_columns(results.trials)
    of_trials = map(partial(lines_of_trial, further), results.trials)
    write_tables_of_trials(folder, further, of_trials)
    write_traces(folder, results, trace_parts)
    return describe_tables(folder, results)


def lines_of_trial(further: frozenset[str], trial: TrialResult) -> dict[str, Lines]:
    """Return a trial's lines of every table of trials, unrounded and rounded, by the table's name.

    `further` names the columns that a study of several instruments needs (`further_columns`).
    """
    return {
        table.name: tuple(csv_lines(columns_of(table.row, further), table.rows((trial,))))
        for table in _TABLES_OF_TRIALS
    }


def write_tables_of_trials(
    folder: Path,
    further: frozenset[str],
    trials: Iterable[dict[str, Lines]],
) -> None:
    """Write every table of trials from the lines of each trial, in order."""
    (folder / PRINTABLE).mkdir(exist_ok=True)
    held = list(trials)
    for table in _TABLES_OF_TRIALS:
        lines = (each for one in held for each in one[table.name])
        write_csv(folder, table.name, columns_of(table.row, further), lines)


def table_names(results: StudyResults) -> tuple[str, ...]:
    """Return what :func:`write_table` writes: tables that are not of trials, and the cycles."""
    others = (table for table in tables_of(results) if not isinstance(table, TrialTable))
    return (*(table.name for table in others), CYCLES)


def write_table(folder: Path, results: StudyResults, name: str) -> tuple[str, ...]:
    """Write one table, unrounded and rounded, or the cycles, and return the files' names."""
    if name == CYCLES:
        columns = columns_of(CyclePoint, further_columns(results.trials))
        tables = cycle_tables(results.trials)
        return (CYCLES,) if write_parquet(folder / CYCLES, columns, tables) else ()
    (folder / PRINTABLE).mkdir(exist_ok=True)
    table = next(each for each in tables_of(results) if each.name == name)
    columns = table.columns_in(results)
    files = write_csv(folder, name, columns, csv_lines(columns, table.rows_in(results)))
    return tuple(path.relative_to(folder).as_posix() for path in files)


def write_traces(folder: Path, results: StudyResults, parts: Sequence[Path] = ()) -> None:
    """Write both instruments' traces as Parquet, if there are any; parts go before the others."""
    if not merge_traces(parts, folder, trace_columns(results)):
        held = trace_tables(results.trials, traces_wanted(results))
        write_parquet(folder / TRACES, trace_columns(results), held)


def merge_traces(parts: Sequence[Path], folder: Path, columns: tuple[Column, ...]) -> bool:
    """Write the traces from the parts that exist, and return whether there was any."""
    return merge_trace_parts(parts, folder / TRACES, columns)


def trace_columns(results: StudyResults) -> tuple[Column, ...]:
    """Return the columns of the traces."""
    return columns_of(TraceSample, further_columns(results.trials))


def describe_tables(folder: Path, results: StudyResults) -> tuple[Path, ...]:
    """Write the dictionary of the tables that lie in a folder, and return all files."""
    exact, printed, curves = [], [], []
    for table in tables_of(results):
        columns = table.columns_in(results)
        exact.append(Described(folder / f"{table.name}.csv", table.meaning, columns))
        rounded = f"{table.meaning}; numbers rounded to what their uncertainty supports"
        path = folder / PRINTABLE / f"{table.name}.csv"
        printed.append(Described(path, rounded, columns))
    further = further_columns(results.trials)
    for name, row, meaning in CURVES:
        if (folder / name).exists():
            curves.append(Described(folder / name, meaning, columns_of(row, further)))
    described = [*exact, *printed, *curves]
    dictionary = write_dictionary(folder, results.title, described)
    return (*(file.path for file in described), dictionary)


def traces_wanted(results: StudyResults) -> bool | None:
    """Return `traces` of the study file's section `[report]`; None where it says nothing."""
    section = results.parameters.get("report")
    wanted = section.get("traces") if isinstance(section, dict) else None
    return wanted if isinstance(wanted, bool) else None
