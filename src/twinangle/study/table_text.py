"""The trials table as text: split into cells, its shape and its header checked."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from twinangle.errors import StudyError, closed
from twinangle.naming import holds_a_row, listed, nearest_first
from twinangle.study.instruments import Header
from twinangle.study.trial_row import (
    COLUMNS,
)


@dataclass(slots=True)
class CellTable:
    """The table's cells, where it is, and the faults found so far."""

    name: str
    folder: Path
    columns: list[str]
    rows: list[tuple[int, dict[str, str]]]
    delimiter: str
    head: int = 1  # the row of the column names
    faults: list[str] = field(default_factory=list)
    spelt: Mapping[str, str] = field(default_factory=dict)  # how the file spells a column

    def add(self, row: int, column: str, text: str) -> None:
        """Note a fault in one cell."""
        column = self.spelt.get(column, column)
        self.faults.append(f"{self.name}, row {row}, column {column!r}: {text}")


def inside_folder(folder: Path, name: str) -> Path | None:
    """Return the path of a file in the folder, or None when it would leave it.

    Links are followed first: a link that points out of the folder leaves it too.
    """
    path = folder / name
    if "\\" in name and not path.exists():
        path = folder / name.replace("\\", "/")
    try:
        return path if path.resolve().is_relative_to(folder.resolve()) else None
    except (OSError, ValueError, RuntimeError):  # a loop of links, a NUL in the name
        return None


def read_table(
    folder: Path, path: Path, name: str, required: tuple[str, ...], seen: Header | None = None
) -> CellTable:
    """Split the table into cells; what breaks its shape is raised at once.

    `seen` is how one of several instruments sees the columns.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        near = nearest_first(path.name, (each.name for each in folder.iterdir() if each.is_file()))
        raise StudyError(
            f"trials table {name!r} does not exist in the study folder, which holds {listed(near)}."
        ) from None
    except UnicodeDecodeError as error:
        raise StudyError(f"{name}: byte {error.start} is not UTF-8; save it as UTF-8.") from None
    except OSError as error:
        raise StudyError(f"{name}: cannot be read: {error.strerror}.") from None
    lines = text.splitlines(keepends=True)
    if not text.strip():
        raise StudyError(f"{name}: is empty; the first row must hold the column names.")
    delimiter = max(",;\t", key=next(line for line in lines if line.strip()).count)
    records = _records(lines, delimiter, name)
    header = [cell.strip() for cell in records[0][1]]
    table = CellTable(name, folder, header, [], delimiter, records[0][0])
    if seen is not None:
        table.columns = seen.columns(header)
        table.spelt = {
            plain: own for plain, own in seen.spelt.items() if own in header or plain not in header
        }
        table.faults += [f"{name}, row {table.head}: {text}" for text in seen.strange(header)]
    _check_header(table, records[0][0], required)
    for row, found in records[1:]:
        cells = _without_end(found, header)
        if len(cells) != len(header):
            table.faults.append(
                f"{name}, row {row}: has {len(cells)} cells where the header has {len(header)}."
            )
        else:
            found_cells = dict(zip(header, map(str.strip, cells), strict=True))
            table.rows.append((row, found_cells if seen is None else seen.cells(found_cells)))
    return table


def _without_end(cells: list[str], header: list[str]) -> list[str]:
    """Return a row without a separator too many at its end, or with the one its header has."""
    if len(cells) == len(header) + 1 and not cells[-1].strip():
        return cells[:-1]
    return [*cells, ""] if len(cells) == len(header) - 1 and not header[-1] else cells


def _records(lines: list[str], delimiter: str, name: str) -> list[tuple[int, list[str]]]:
    """Return the rows that are not blank, each with the line it starts on."""
    reader = csv.reader(lines, delimiter=delimiter)
    records: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for cells in reader:
            width = len(records[0][1]) if records else len(cells)
            if holds_a_row(cells, delimiter, width):
                raise StudyError(
                    f"{name}, row {start}: a quotation mark opens a cell there and is not closed "
                    "in the same row, so that the rows after it would be lost; take it out, or "
                    "close it."
                )
            if any(cell.strip() for cell in cells):
                records.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        said = f"{name}, row {start}: cannot be read as a table: {closed(error)}"
        raise StudyError(said) from None
    return records


def _check_header(table: CellTable, row: int, required: tuple[str, ...]) -> None:
    """Refuse missing, repeated and misspelt columns; without the required ones stop here."""
    twice = [name for name in dict.fromkeys(table.columns) if table.columns.count(name) > 1]
    if twice:
        table.faults.append(f"{table.name}, row {row}: column {listed(twice)} occurs twice.")
    missing = [name for name in required if name not in table.columns]
    for name in missing:
        found, said = listed(nearest_first(name, table.columns)), table.spelt.get(name, name)
        table.faults.append(f"{table.name}, row {row}: column {said!r} is missing; found {found}.")
    for name in table.columns:
        if name.casefold() in COLUMNS and name not in COLUMNS:
            table.faults.append(
                f"{table.name}, row {row}: column {name!r} must be spelt {name.casefold()!r}."
            )
    if twice or missing:
        raise StudyError("\n".join(table.faults))
