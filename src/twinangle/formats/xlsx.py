"""XLSX: one table on one sheet of a workbook, with its column names above the numbers.

A cell holds a number, or a number as text (with a decimal point or comma), or nothing. Dates,
truth values, error values and formulas that were saved without their result are refused with the
cell's place. The workbook's properties (author, company) are never looked at.
"""

from __future__ import annotations

import math
import re
import warnings
import zipfile
from array import array
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice, repeat
from pathlib import Path
from typing import Any

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats.base import choose_columns
from twinangle.formats.delimited_layout import MISSING_WORDS, UNIT_WORDS, joined_names
from twinangle.formats.request import Format, Request, Table
from twinangle.naming import listed, shown
from twinangle.signals.recording import Array

HEAD_ROWS = 100  # among which the column names are looked for
MOST_ROWS = 1_048_576  # of a sheet, by the format
MOST_EMPTY = 10_000  # rows between others
MOST_UNPACKED = 100  # times the file's size, beside the next: a table packs ten- to twentyfold
SPARE_UNPACKED = 32 * 2**20
NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """One table: where it is, its columns, and which of them hold numbers in its first rows."""

    title: str
    names: tuple[str, ...]  # empty text where a column has no name
    units: tuple[str, ...]
    first_row: int  # of the data, counted from 1
    numeric: tuple[str, ...]
    joined: bool = False  # names made of two rows


def read(path: Path, request: Request) -> Table:
    """Read the requested columns of the sheet that holds them."""
    try:
        _check_unpacked_size(path)
        with _workbook(path, results=True) as book:
            found = [_layout(sheet, _asked(request)) for sheet in book.worksheets]
            sheets = [each for each in found if each is not None]
            sheet, wanted = _choose(sheets, request)
            places = [sheet.names.index(name) for name in wanted]
            values = _values(book[sheet.title], sheet, places, request)
        _refuse_lost_results(path, sheet, places, values, request)
    except RecordingError:
        raise
    except Exception as error:  # the library tells damage by exceptions of every kind
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise RecordingError(
            f"{request.source}: is not a readable XLSX file: {reason.rstrip('.')}."
        ) from error
    asked_as = {_bare(name, sheet): name for name in _asked(request)}
    columns = [asked_as.get(name, name) for name in wanted]
    units = dict(zip(sheet.names, sheet.units, strict=True)) if sheet.units else {}
    return Table(
        columns=tuple(columns),
        values=values,
        units={
            column: units[name]
            for column, name in zip(columns, wanted, strict=True)
            if units.get(name)
        },
        row_of=lambda sample: f"row {sheet.first_row + sample}",
        notes=_notes(sheet, sheets, request),
    )


def _notes(sheet: _Sheet, sheets: Sequence[_Sheet], request: Request) -> tuple[str, ...]:
    notes = ["column names made of two rows, as in 'thigh acc_x'"] if sheet.joined else []
    notes += ["units read from the row under the header"] if sheet.units else []
    others = [each.title for each in sheets if each is not sheet and each.numeric]
    if request.columns is None and others:
        notes.append(
            f"sheet {sheet.title!r} read; columns of {listed(others)} are read when named "
            f"as {others[0] + '!' + 'column'!r}"
        )
    return tuple(notes)


@contextmanager
def _workbook(path: Path, *, results: bool) -> Iterator[Any]:
    """Open a workbook for reading row by row: results of formulas, or the formulas."""
    import openpyxl  # slow to import

    with path.open("rb") as stream, warnings.catch_warnings():  # the library leaves it open
        warnings.simplefilter("ignore")  # of styles and extensions that do not matter here
        book = openpyxl.load_workbook(stream, read_only=True, data_only=results, keep_links=False)
        try:
            yield book
        finally:
            book.close()


def _check_unpacked_size(path: Path) -> None:
    """Refuse a file that would unpack to far more than a table does."""
    with zipfile.ZipFile(path) as archive:
        unpacked = sum(member.file_size for member in archive.infolist())
    if unpacked > SPARE_UNPACKED + MOST_UNPACKED * path.stat().st_size:
        raise ValueError(f"its {path.stat().st_size} bytes claim to unpack to {unpacked}")


def _rows(sheet: Any, first: int = 1) -> Iterator[Row]:
    """Yield a sheet's rows from one on, as far as the format allows.

    The number of a row is what the file says, and the library fills in those before it: so many
    empty ones are not believed. At the end of a sheet they are left out.
    """
    sheet.reset_dimensions()  # what the file says of its size is not trusted
    n_empty = 0
    for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if number > MOST_ROWS:
            raise ValueError(f"its sheet {sheet.title!r} claims more than {MOST_ROWS} rows")
        if number < first:
            continue
        if all(cell is None for cell in row):
            n_empty += 1
            continue
        if n_empty > MOST_EMPTY:
            raise ValueError(
                f"row {number} of its sheet {sheet.title!r} follows {n_empty} empty ones"
            )
        yield from repeat((), n_empty)
        n_empty = 0
        yield row
    if n_empty <= MOST_EMPTY:
        yield from repeat((), n_empty)


def _asked(request: Request) -> tuple[str, ...]:
    """Return the columns that the request names, the times among them."""
    return (*(request.columns or ()), *([request.time] if request.time else []))


def _layout(sheet: Any, asked: Sequence[str]) -> _Sheet | None:
    """Find the column names, a row of units under them, and which columns hold numbers.

    The names are the first row that holds every column asked for; without one, the first that has
    most columns of numbers below it. The row above may hold a part of them.
    """
    head = list(islice(_rows(sheet), HEAD_ROWS))
    texts = [tuple(_text(cell) for cell in row) for row in head]
    both = [_over_two_rows(texts, at) for at in range(len(texts))]
    bare = {name.removeprefix(f"{sheet.title}!") for name in asked}
    declared = [at for at, names in enumerate(texts) if bare <= {*names, *(both[at] or ())}]
    declared = declared if bare else []
    found = [
        _sheet_from(sheet.title, head, texts, at, both[at])
        for at in declared[:1] or range(len(texts))
        if any(texts[at])
    ]
    best = max(found, key=lambda each: len(each.numeric), default=None)  # of equals the first
    return best if best is not None and (best.numeric or declared) else None


def _sheet_from(
    title: str,
    head: Sequence[Row],
    texts: Sequence[tuple[str, ...]],
    at: int,
    joined: tuple[str, ...] | None,
) -> _Sheet:
    """Return the table whose names are in one row, or made of it and the one above."""
    names, below = joined or texts[at], head[at + 1 :]
    units = bool(below) and _are_units(texts[at + 1], names)
    return _Sheet(
        title=title,
        names=names,
        units=tuple(_unit(texts[at + 1], k) for k in range(len(names))) if units else (),
        first_row=at + 2 + units,
        numeric=_numeric(names, below[1:] if units else below),
        joined=joined is not None,
    )


def _over_two_rows(texts: Sequence[tuple[str, ...]], at: int) -> tuple[str, ...] | None:
    """Return the names of a row with those of the row above it; None where they are its own."""
    if at == 0:
        return None
    width = max(len(texts[at - 1]), len(texts[at]))
    above, own = ([*row, *[""] * (width - len(row))] for row in texts[at - 1 : at + 1])
    joined = joined_names(above, own) if any(own) else None
    return None if joined is None else tuple(joined)


def _text(cell: Any) -> str:
    return cell.strip() if isinstance(cell, str) else ""


def _unit(row: Sequence[str], place: int) -> str:
    unit = row[place].strip("[]() ") if place < len(row) else ""
    return "" if unit == "-" else unit


def _are_units(row: Sequence[str], names: Sequence[str]) -> bool:
    """Tell a row of units: known words, none without a name above, and not all of them numbers."""
    cells = [cell for cell in row if cell]
    return (
        bool(cells)
        and all(UNIT_WORDS.fullmatch(cell) for cell in cells)
        and not all(NUMBER.fullmatch(cell) for cell in cells)
        and all(name for name, cell in zip(names, row, strict=False) if cell)
    )


def _numeric(names: Sequence[str], body: Sequence[Row]) -> tuple[str, ...]:
    """Return the named columns that hold numbers or nothing, and at least one number."""
    found = []
    for place, name in enumerate(names):
        if name and not NUMBER.fullmatch(name) and names.count(name) == 1:
            cells = [row[place] if place < len(row) else None for row in body]
            numbers = [_number(cell) for cell in cells]
            filled = [each for each in numbers if each is not None and not math.isnan(each)]
            if filled and None not in numbers:
                found.append(name)
    return tuple(found)


def _number(cell: Any) -> float | None:
    """Return a cell as a number, NaN where it holds none; None where it holds something else."""
    if cell is None:
        return math.nan
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return float(cell)
    if isinstance(cell, str):
        text = cell.strip()
        if text in MISSING_WORDS:
            return math.nan
        if NUMBER.fullmatch(text):
            return float(text.replace(",", "."))
    return None


def _choose(sheets: Sequence[_Sheet], request: Request) -> tuple[_Sheet, list[str]]:
    """Return the sheet that holds every requested column, and their names on it.

    A column may be asked for by its bare name, or as ``sheet!column``.
    """
    if not sheets:
        raise RecordingError(
            f"{request.source}: holds no table; accepted: a row of column names on a sheet, with "
            "rows of numbers under it."
        )
    if request.columns is None:
        sheet = sheets[0]
        names = list(sheet.numeric)
        if request.time is not None and request.time not in names:
            names = choose_columns(_without_sheet(request, sheet, names), sheet.names)
        return sheet, names
    asked = _asked(request)
    holders = [each for each in sheets if all(_bare(name, each) in each.names for name in asked)]
    if len(holders) > 1:
        raise RecordingError(
            f"{request.source}: the declared columns are on the sheets "
            f"{listed(each.title for each in holders)}; name them as "
            f"{holders[0].title + '!' + asked[0]!r}."
        )
    sheet = holders[0] if holders else sheets[0]
    return sheet, choose_columns(_without_sheet(request, sheet, asked), _all_names(sheets, sheet))


def _all_names(sheets: Sequence[_Sheet], chosen: _Sheet) -> list[str]:
    """Return the chosen sheet's columns, and those of others as a message should name them."""
    others = [
        f"{each.title}!{name}"
        for each in sheets
        if each is not chosen
        for name in each.names
        if name
    ]
    return [*chosen.names, *others]


def _bare(name: str, sheet: _Sheet) -> str:
    return name.removeprefix(f"{sheet.title}!")


def _without_sheet(request: Request, sheet: _Sheet, names: Sequence[str]) -> Request:
    time = None if request.time is None else _bare(request.time, sheet)
    columns = tuple(_bare(name, sheet) for name in names if name != request.time)
    return replace(request, columns=columns, time=time)


def _values(book_sheet: Any, sheet: _Sheet, places: list[int], request: Request) -> Array:
    """Return the columns at `places`; (n, len(places)), NaN where a cell is empty."""
    flat = array("d")
    for number, row in enumerate(_rows(book_sheet, sheet.first_row), start=sheet.first_row):
        for place in places:
            cell = row[place] if place < len(row) else None
            value = _number(cell)
            if value is None:
                raise _refused(sheet, place, number, _as_text(cell), request)
            flat.append(value)
    return np.array(flat, dtype=np.float64).reshape(-1, len(places))


def _as_text(cell: Any) -> Any:
    """Return a text or a truth value as a message shows it, a date as it is."""
    if isinstance(cell, str):
        return shown(cell)
    return repr(cell) if isinstance(cell, bool) else cell


def _refused(sheet: _Sheet, place: int, row: int, found: Any, request: Request) -> RecordingError:
    """Return the refusal of a cell, with its place as a spreadsheet names it."""
    from openpyxl.utils import get_column_letter

    what = str(found) if isinstance(found, str) else f"a date or a time of day ({found})"
    return RecordingError(
        f"{request.source}, sheet {sheet.title!r}, cell {get_column_letter(place + 1)}{row} "
        f"(column {sheet.names[place]!r}): is {what}; accepted: a number, or an empty cell for a "
        "gap."
    )


def _refuse_lost_results(
    path: Path, sheet: _Sheet, places: list[int], values: Array, request: Request
) -> None:
    """Refuse a formula without its result, which reads like an empty cell."""
    if not np.isnan(values).any():
        return
    with _workbook(path, results=False) as book:
        for number, row in enumerate(_rows(book[sheet.title], sheet.first_row)):
            for column, place in enumerate(places):
                cell = row[place] if place < len(row) else None
                lost = isinstance(cell, str) and cell.startswith("=")
                if lost and np.isnan(values[number, column]):
                    raise _refused(
                        sheet,
                        place,
                        sheet.first_row + number,
                        f"the formula {shown(str(cell))}, saved without its result",
                        request,
                    )


FORMAT = Format("XLSX", (".xlsx", ".xlsm"), read)
