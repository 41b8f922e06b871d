"""Cycles and traces read back from the tables of a run, equal to those that were written."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from twinangle.cycles.normalise import CYCLE_PERCENT
from twinangle.errors import StudyError
from twinangle.results.tables.columns import PARTS, columns_of
from twinangle.results.tables.cycle_points import (
    CYCLES,
    IDENTITY,
    TRACES,
    CyclePoint,
    TraceSample,
)
from twinangle.results.tables.parquet import row_groups, schema_of
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.under_test import under_test

if TYPE_CHECKING:
    import pyarrow as pa

Key = tuple[str, ...]  # participant, session, condition, trial, side, procedure
Value = TypeVar("Value")
_NAMES = (*IDENTITY, *PARTS)


def read_cycles(folder: str | Path) -> dict[Key, CycleSet]:
    """Read the cycles of a run.

    Parameters
    ----------
    folder : path
        The folder `tables` of an output folder.

    Returns
    -------
    dict
        By (participant, session, condition, trial, side, procedure), in the order of the run: the
        cycles that were found, kept or not, equal to those written; trials without are not in it.

    Raises
    ------
    StudyError
        If there is no such file, or it is not one that a run wrote.
    """
    path = Path(folder) / CYCLES
    return {key: _cycle_set(table) for key, table in _trials(path, CyclePoint)}


def read_traces(folder: str | Path) -> dict[Key, PairedAngles]:
    """Read the synchronised traces of a run.

    Parameters
    ----------
    folder : path
        The folder `tables` of an output folder.

    Returns
    -------
    dict
        By (participant, session, condition, trial, side, procedure), in the order of the run, equal
        to those written; empty where the run kept none (`traces` under `[report]`).

    Raises
    ------
    StudyError
        If the file is not one that a run wrote.
    """
    path = Path(folder) / TRACES
    if not path.exists():
        return {}
    return {key: _paired_angles(table) for key, table in _trials(path, TraceSample)}


def _trials(path: Path, row: type) -> Iterator[tuple[Key, pa.Table]]:
    """Yield the rows of each trial, which stand together."""
    import pyarrow as pa

    if not path.exists():
        raise StudyError(f"{path}: there is no such file; give the folder `tables` of a run.")
    groups = ((_key(group), group) for group in _groups(path, row))
    for key, members in groupby(groups, lambda pair: pair[0]):
        yield key, pa.concat_tables(group for _, group in members)


def _groups(path: Path, row: type) -> Iterator[pa.Table]:
    """Yield the row groups; what is no Parquet file or has other columns is the user's error."""
    import pyarrow as pa

    try:
        for group in row_groups(path):
            further = frozenset(PARTS) & set(group.schema.names)
            expected = schema_of(columns_of(row, further))
            if not group.schema.equals(expected):
                raise StudyError(
                    f"{path}: has the columns {', '.join(group.schema.names)}; expected those of "
                    f"a run, {', '.join(expected.names)}."
                )
            yield group
    except (pa.ArrowException, OSError) as error:
        raise StudyError(f"{path}: cannot be read as Parquet ({error}).") from error


def _key(group: pa.Table) -> Key:
    named = {name: group[name][0].as_py() for name in group.schema.names if name in _NAMES}
    named["procedure"] = under_test(*(named.get(part, "") for part in PARTS))
    return tuple(named[name] for name in IDENTITY)


def _cycle_set(table: pa.Table) -> CycleSet:
    first = {name: table[name][0].as_py() for name in ("cycle", "method", "warnings")}
    said: dict[str, Any] = {
        "method": first["method"],
        "warnings": tuple(json.loads(first["warnings"])),
    }
    if first["cycle"] is None:
        none = np.zeros(0)
        curves = np.zeros((0, CYCLE_PERCENT.size))
        reference = None if _absent(table, "reference_deg") else curves
        return CycleSet(none, none, (), curves, reference, **said)
    cycle = _numbers(table, "cycle")
    n = int(cycle[-1]) + 1
    starts = np.arange(n) * (cycle.size // n)
    bout = _numbers(table, "bout")
    return CycleSet(
        start_s=_numbers(table, "start_s")[starts],
        end_s=_numbers(table, "end_s")[starts],
        reason=tuple(table["reason"].take(starts).to_pylist()),
        wearable_deg=_numbers(table, "wearable_deg").reshape(n, -1),
        reference_deg=None if _absent(table, "reference_deg") else
        _numbers(table, "reference_deg").reshape(n, -1),
        bout=np.zeros(0, dtype=np.int64) if _absent(table, "bout") else bout[starts],
        **said,
    )  # fmt: skip


def _paired_angles(table: pa.Table) -> PairedAngles:
    return PairedAngles(
        wearable_deg=_numbers(table, "wearable_deg"),
        reference_deg=None if _absent(table, "reference_deg") else _numbers(table, "reference_deg"),
        start_s=table["time_s"][0].as_py(),
        rate_hz=table["rate_hz"][0].as_py(),
    )


def _absent(table: pa.Table, name: str) -> bool:
    """Whether there is no such signal: null in every row, which a gap (NaN) is not."""
    return bool(table[name].null_count == table.num_rows)


def _numbers(table: pa.Table, name: str) -> Any:
    return table[name].to_numpy()
