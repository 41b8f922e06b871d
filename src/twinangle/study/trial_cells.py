"""Cells of the trials table: what each says, or the fault of one that says nothing sound."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import cast

from twinangle.errors import StudyError
from twinangle.naming import shown, suggestion
from twinangle.signals.recording import Interval, MaskedStretch
from twinangle.study.cells import finite_number
from twinangle.study.file_pairs import PLACEHOLDER, SensorFilePatterns
from twinangle.study.mask_cell import read_mask
from twinangle.study.section import LEFT_OPEN, OPEN_TEXT
from twinangle.study.table_text import CellTable, inside_folder
from twinangle.study.trial_row import (
    COLUMNS,
    IDENTIFIERS,
    MASK,
    Needs,
    SensorFiles,
)


def masked(table: CellTable, row: int, cell: str) -> tuple[MaskedStretch, ...]:
    """Return the stretches to leave out."""
    try:
        return read_mask(cell, inside_folder(table.folder, cell), table.delimiter)
    except StudyError as error:
        table.add(row, MASK, str(error))
        return ()


def without_open(
    table: CellTable, row: int, cells: Mapping[str, str], needs: Needs
) -> Mapping[str, str]:
    """Note places that `init` left open, and return the cells with stand-ins that pass."""
    known = (*COLUMNS, *needs.columns)
    left = [name for name, cell in cells.items() if cell == LEFT_OPEN and name in known]
    for name in left:
        table.add(row, name, f"{OPEN_TEXT}, or leave it empty where the study does not need it.")
    return {
        **cells,
        **{name: f"row {row}" if name in ("participant", *needs.columns) else "" for name in left},
    }


def identifier(table: CellTable, row: int, cells: Mapping[str, str], name: str) -> str:
    """Return an identifier; what it is by default where the table has no such column."""
    if name not in cells:
        return IDENTIFIERS[name]
    value = cells[name]
    if name == "side" and value not in ("left", "right", ""):
        guess = suggestion(value, ("left", "right"))
        table.add(
            row, name, f"is {shown(value)}; accepted: 'left', 'right' or an empty cell.{guess}"
        )
    elif name != "side" and not value:
        table.add(row, name, "is empty; every row needs it (or leave the whole column out).")
    return value


def recording(
    table: CellTable,
    row: int,
    cells: Mapping[str, str],
    name: str,
    patterns: SensorFilePatterns | None,
    *,
    must_exist: bool,
) -> Path | SensorFiles | None:
    """Return a recording's file, or its two files by the patterns of `[wearable.files]`."""
    value = cells.get(name, "")
    if patterns is None:
        return file_of(table, row, name, value, must_exist=must_exist)
    if name != "wearable":
        if not value:
            return None
        if "wearable" not in patterns.placeholders:
            table.add(
                row,
                name,
                f"is {value!r}, but the patterns of [wearable.files] have no {{wearable}} that it "
                f"could stand for; give `{name}_start_s` and `{name}_end_s`.",
            )
            return None
    filled = {key: cells[key] for key in patterns.placeholders} | (
        {"wearable": value} if "wearable" in patterns.placeholders else {}
    )
    empty = [key for key, cell in filled.items() if not cell]
    for key in empty if must_exist else ():
        table.add(row, key, "is empty; [wearable.files] makes the files' names of it.")
    if empty:
        return None
    found = [
        file_of(table, row, name, _fill(pattern, filled), must_exist=must_exist)
        for pattern in (patterns.proximal, patterns.distal)
    ]
    return None if None in found else SensorFiles(*cast("list[Path]", found))


def _fill(pattern: str, cells: Mapping[str, str]) -> str:
    """Put the cells in the places of their columns."""
    return PLACEHOLDER.sub(lambda match: cells[match[1]], pattern)


def file_of(table: CellTable, row: int, name: str, value: str, *, must_exist: bool) -> Path | None:
    """Return the path in a cell; faults where it is empty and may not be, leaves, or is no file."""
    if not value:
        if name == "wearable" and must_exist:
            table.add(row, name, "is empty; every trial that is analysed needs a file.")
        return None
    path, said = inside_folder(table.folder, value), shown(value)
    if path is None:
        table.add(
            row, name, f"{shown(value)} leaves the study folder; move the file into the folder."
        )
    elif must_exist and not path.exists():
        table.add(row, name, f"file {said} does not exist in the study folder.{_near(path)}")
    elif must_exist and not path.is_file():
        table.add(row, name, f"{said} is not a file.")
    return path


def _near(path: Path) -> str:
    if not path.parent.is_dir():
        return f" Nor does the folder {path.parent.name!r}."
    return suggestion(path.name, sorted(each.name for each in path.parent.iterdir()))


def number_in(
    table: CellTable, row: int, cells: Mapping[str, str], name: str, unit: str
) -> float | None:
    """Return the number in a cell, None where it is empty."""
    text = cells.get(name, "")
    value = finite_number(text, table.delimiter) if text else None
    if text and value is None:
        table.add(row, name, f"is {shown(text)}; accepted: a number of {unit}, or an empty cell.")
    return value


def sign_in(table: CellTable, row: int, name: str, text: str) -> int | None:
    """Return the sign in a cell, None where it is empty."""
    if not text:
        return None
    value = finite_number(text, table.delimiter)
    if value not in (1, -1):
        table.add(
            row,
            name,
            f"is {shown(text)}; accepted: 1, -1 where flexion is negative in the file, or an empty "
            "cell.",
        )
        return None
    return int(value)


def check_lags(table: CellTable, row: int, lags: Mapping[str, float | None], method: str) -> None:
    """Refuse a search window that is none, and one that the method would not look at."""
    most = lags["max_lag_s"]
    if most is not None and not most > 0:
        table.add(row, "max_lag_s", f"is {most:g}; accepted: seconds above 0, or an empty cell.")
    if most is not None and method in ("shared-clock", "manual"):
        table.add(
            row,
            "max_lag_s",
            f"is given, but [synchronisation] `method` is {method!r}, which searches for no lag.",
        )
    if lags["expected_lag_s"] is not None and method != "cross-correlation":
        table.add(
            row,
            "expected_lag_s",
            f"is given, but [synchronisation] `method` is {method!r}; it goes with "
            "'cross-correlation' only.",
        )


def stretch(
    table: CellTable,
    row: int,
    name: str,
    files: Mapping[str, Path | SensorFiles | None],
    times: Mapping[str, float | None],
) -> Interval | Path | SensorFiles | None:
    """Return where a calibration movement is: a stretch of the recording, or a file of its own."""
    start, end = times[f"{name}_start_s"], times[f"{name}_end_s"]
    path = files[name]
    if path is not None and (start is not None or end is not None):
        table.add(row, name, f"is given both as a file and as `{name}_start_s`; give one of them.")
    elif (start is None) != (end is None):
        lone = f"{name}_end_s" if start is None else f"{name}_start_s"
        other = f"{name}_start_s" if start is None else f"{name}_end_s"
        table.add(row, lone, f"is given without {other!r}; give both or neither.")
    elif start is not None and end is not None:
        if start < end:
            return Interval(start, end)
        table.add(row, f"{name}_end_s", f"is {end:g}, not after {name}_start_s = {start:g}.")
    return path


def check_order(table: CellTable, row: int, start: float | None, end: float | None) -> None:
    """Refuse a stretch to analyse that ends before it starts."""
    if start is not None and end is not None and not start < end:
        table.add(row, "end_s", f"is {end:g}, not after start_s = {start:g}.")
