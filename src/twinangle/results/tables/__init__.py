"""The tables of a run: CSV, Parquet and a data dictionary from one declaration of every column."""

from twinangle.results.tables.columns import further_columns
from twinangle.results.tables.cycle_points_back import read_cycles, read_traces
from twinangle.results.tables.writing import (
    TABLES,
    Lines,
    describe_tables,
    lines_of_trial,
    merge_traces,
    table_names,
    trace_columns,
    write_table,
    write_tables,
    write_tables_of_trials,
    write_traces,
)

__all__ = [
    "TABLES",
    "Lines",
    "describe_tables",
    "further_columns",
    "lines_of_trial",
    "merge_traces",
    "read_cycles",
    "read_traces",
    "table_names",
    "trace_columns",
    "write_table",
    "write_tables",
    "write_tables_of_trials",
    "write_traces",
]
