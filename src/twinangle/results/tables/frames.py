"""The tables of a run as pandas frames, from the rows that `tables/` is written from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyarrow as pa

from twinangle.card import Card, Shown
from twinangle.naming import suggestion
from twinangle.results.tables.columns import PARTS, Column, Table, columns_of
from twinangle.results.tables.cycle_points import (
    CyclePoint,
    TraceSample,
    cycle_tables,
    trace_tables,
)
from twinangle.results.tables.parquet import schema_of
from twinangle.results.tables.writing import tables_of

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults

POINTS = {
    "cycle_points": "curves of every cycle found, a point a row (tables/cycles.parquet)",
    "traces": "both instruments on one clock, a sample a row (tables/traces.parquet)",
}
_MISSING = {"string": "", "integer": pd.NA, "boolean": pd.NA, "number": float("nan")}


class Frames(Mapping[str, pd.DataFrame], Shown):
    """Frames by the names of the files in `tables/`, made when they are asked for.

    Numbers are unrounded; a number that there is not is NaN, a text that there is not is empty.

    Examples
    --------
    >>> results.frames.limits[["quantity", "bias_deg"]]  # doctest: +SKIP
    >>> results.frames["limits_points"]  # doctest: +SKIP
    """

    __slots__ = ("_results",)

    def __init__(self, results: StudyResults) -> None:
        self._results = results

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Return a table by its name.

        Raises
        ------
        KeyError
            If there is none of that name; the message lists those that there are.
        """
        if name == "cycle_points":
            return _joined(cycle_tables(self._results.trials), CyclePoint)
        if name == "traces":
            return _joined(trace_tables(self._results.trials, wanted=True), TraceSample)
        tables = self._tables
        if name not in tables:
            raise KeyError(
                f"there is no table {name!r}.{suggestion(name, list(self))} "
                f"Tables: {', '.join(self)}."
            )
        table = tables[name]
        return _framed(table.columns_in(self._results), table.rows_in(self._results))

    @property
    def _tables(self) -> dict[str, Table]:
        return {table.name: table for table in tables_of(self._results)}

    def __iter__(self) -> Iterator[str]:
        yield from (*self._tables, *POINTS)

    def __len__(self) -> int:
        return len(self._tables) + len(POINTS)

    @property
    def trials(self) -> pd.DataFrame:
        """Each trial under each procedure, headline numbers: `trials.csv`."""
        return self["trials"]

    @property
    def cycles(self) -> pd.DataFrame:
        """Every cycle found, kept or not: `cycles.csv`."""
        return self["cycles"]

    @property
    def curves(self) -> pd.DataFrame:
        """Mean curves of each trial, a point of the cycle a row: `mean_curves.csv`."""
        return self["mean_curves"]

    @property
    def limits(self) -> pd.DataFrame:
        """Limits of agreement as recorded: `limits_of_agreement.csv`."""
        return self["limits_of_agreement"]

    @property
    def conditions(self) -> pd.DataFrame:
        """Conditions compared: `conditions.csv`."""
        return self["conditions"]

    @property
    def warnings(self) -> pd.DataFrame:
        """Warnings of the trials, one a row: `warnings.csv`."""
        return self["warnings"]

    def _card(self) -> Card:
        rows = [(name, table.meaning) for name, table in self._tables.items()]
        said = f"{len(self)} tables: {', '.join(self)}."
        return Card("Frames", (said,), ("table", "rows"), (*rows, *POINTS.items()))


def _framed(columns: tuple[Column, ...], rows: Iterable[Any]) -> pd.DataFrame:
    held = list(rows)
    return pd.DataFrame({one.name: _cells(one, held) for one in columns})


def _cells(column: Column, rows: list[Any]) -> pd.Series[Any]:
    values = column.values(rows)
    missing = any(value is None for value in values)
    if missing:
        values = [_MISSING[column.kind] if value is None else value for value in values]
    kinds = {"string": object, "number": "float64", "integer": "int64", "boolean": "bool"}
    if missing and column.kind in ("integer", "boolean"):
        kinds |= {"integer": "Int64", "boolean": "boolean"}
    return pd.Series(values, dtype=kinds[column.kind])


def _joined(tables: Iterable[pa.Table], row: type) -> pd.DataFrame:
    held = list(tables)
    if not held:
        return pd.DataFrame()
    whole = pa.concat_tables(held)
    further = frozenset(PARTS) & set(whole.schema.names)
    return whole.cast(schema_of(columns_of(row, further))).to_pandas()
