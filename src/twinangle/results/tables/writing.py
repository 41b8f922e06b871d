"""Writing every table of a run, and the dictionary that describes them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from twinangle.results.model import StudyResults
from twinangle.results.tables.columns import Table, columns_of, further_columns
from twinangle.results.tables.csv_files import PRINTABLE, write_csv
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

TABLES: tuple[Table, ...] = (
    *POOLED_TABLES,
    *STUDY_TABLES,
    *DECISION_TABLES,
    *TRIAL_TABLES,
    *DAILY_TABLES,
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
    (folder / PRINTABLE).mkdir(exist_ok=True)
    exact, printed = [], []
    for table in tables_of(results):
        columns = table.columns_in(results)
        files = write_csv(folder, table.name, columns, table.rows(results))
        exact.append(Described(files[0], table.meaning, columns))
        rounded = f"{table.meaning}; numbers rounded to what their uncertainty supports"
        printed.append(Described(files[1], rounded, columns))
    described = [*exact, *printed, *_curves(results, folder, trace_parts)]
    dictionary = write_dictionary(folder, results.title, described)
    return (*(file.path for file in described), dictionary)


def _curves(results: StudyResults, folder: Path, parts: Sequence[Path]) -> list[Described]:
    """Write cycles and traces as Parquet, where there are any."""
    further = further_columns(results.trials)
    points, samples = columns_of(CyclePoint, further), columns_of(TraceSample, further)
    cycles, traces = folder / CYCLES, folder / TRACES
    found = []
    if write_parquet(cycles, points, cycle_tables(results.trials)):
        found.append(Described(cycles, "curves of every cycle found, a point a row", points))
    held = trace_tables(results.trials, traces_wanted(results))
    if merge_trace_parts(parts, traces, samples) or write_parquet(traces, samples, held):
        found.append(Described(traces, "both instruments on one clock, a sample a row", samples))
    return found


def traces_wanted(results: StudyResults) -> bool | None:
    """Return `traces` of the study file's section `[report]`; None where it says nothing."""
    section = results.parameters.get("report")
    wanted = section.get("traces") if isinstance(section, dict) else None
    return wanted if isinstance(wanted, bool) else None
