"""The tables of a run: CSV, Parquet and a data dictionary from one declaration of every column."""

from twinangle.results.tables.cycle_points_back import read_cycles, read_traces
from twinangle.results.tables.writing import TABLES, write_tables

__all__ = ["TABLES", "read_cycles", "read_traces", "write_tables"]
