"""Tables as Parquet, row group by row group: the same rows give the same bytes.

Every trial starts a row group of its own and no group is longer than `GROUP_ROWS`, so that a
file put together from the parts of several processes is the file that one process writes, and
memory holds one trial at a time. Texts are dictionary-encoded, numbers plain; no time stamp and no
schema of a library is stored. The version of the Parquet library stands in the file's foot.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.results.tables.columns import Column

if TYPE_CHECKING:
    import pyarrow as pa

GROUP_ROWS = 2**17
_TYPES = {"string": "string", "number": "float64", "integer": "int64", "boolean": "bool"}


def schema_of(columns: tuple[Column, ...]) -> pa.Schema:
    """Return the columns' types in Parquet."""
    import pyarrow as pa

    return pa.schema([(column.name, _TYPES[column.kind]) for column in columns])


def arrow_table(columns: tuple[Column, ...], values: Mapping[str, Any], n_rows: int) -> pa.Table:
    """Return one recording's rows.

    Parameters
    ----------
    columns : tuple of Column
        The table's columns.
    values : mapping
        By the column's name: an array or list of `n_rows`, or one value for all rows (None: null).
    n_rows : int
        Number of rows.

    Raises
    ------
    ValueError
        If `values` are not those of the columns.
    """
    import pyarrow as pa

    if set(values) != {column.name for column in columns}:
        odd = sorted(set(values) ^ {column.name for column in columns})
        raise ValueError(f"expected the table's columns; missing or unknown: {', '.join(odd)}.")
    arrays = []
    for column in columns:
        value, kind = values[column.name], _TYPES[column.kind]
        if value is None:
            arrays.append(pa.nulls(n_rows, kind))
        elif isinstance(value, str):  # held once
            which = pa.array(np.zeros(n_rows, dtype=np.int32))
            arrays.append(pa.DictionaryArray.from_arrays(which, pa.array([value])))
        elif isinstance(value, bool | int | float):
            arrays.append(pa.repeat(pa.scalar(value, kind), n_rows))
        else:
            arrays.append(pa.array(value, kind, from_pandas=False))
    return pa.Table.from_arrays(arrays, names=[column.name for column in columns])


def write_parquet(path: Path, columns: tuple[Column, ...], tables: Iterable[pa.Table]) -> bool:
    """Write one table after the other into one file.

    Returns
    -------
    bool
        Whether there was one; without any no file is written.
    """
    from pyarrow import parquet  # slow to import

    writer = None
    try:
        for table in tables:
            if writer is None:
                writer = parquet.ParquetWriter(path, table.schema, **_settings(columns))
            writer.write_table(table, row_group_size=GROUP_ROWS)
    finally:
        if writer is not None:
            writer.close()
    return writer is not None


def _settings(columns: tuple[Column, ...]) -> dict[str, Any]:
    return {
        "version": "2.6",
        "compression": "zstd",
        "compression_level": 3,
        "use_dictionary": [one.name for one in columns if one.kind == "string"],
        "store_schema": False,
    }


def row_groups(path: Path) -> Iterator[pa.Table]:
    """Yield the row groups of a file, one at a time in memory."""
    from pyarrow import parquet  # slow to import

    with parquet.ParquetFile(path, memory_map=False) as file:
        for k in range(file.num_row_groups):
            yield file.read_row_group(k, use_threads=False)
