"""Delimited text: comma, semicolon or tab; decimal point or comma; UTF-8 with or without BOM.

The fast path hands the declared columns to pyarrow's CSV reader. Where that stumbles, the slow
path reads cell by cell: it accepts what a person would, and otherwise names row and column.
"""

from __future__ import annotations

import codecs
import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

import numpy as np
from pyarrow import ArrowException, float64
from pyarrow import Table as ArrowTable
from pyarrow import csv as arrow_csv

from twinangle.errors import RecordingError
from twinangle.formats.base import choose_columns
from twinangle.formats.request import Format, Request, Table
from twinangle.signals.recording import Array

# Words that loggers and spreadsheets write where there is no number.
MISSING_WORDS = ("", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL", "-nan")
DELIMITERS = (",", ";", "\t")
COMMENT_SIGNS = ("#", "%", "//")
HEAD_BYTES = 1 << 18
HEAD_LINES = 100  # among which the column names are looked for
UNIT_WORDS = re.compile(
    r"[\[(]?\s*(-|1|n/a|s|ms|us|µs|m/s\^?2|m/s²|m\s*s\^?-2|m\*s\^?-2|m?g|rad|deg|°|"
    r"(?:rad|deg|°)/s|dps|m?V|[uµμn]?T|gauss|G|Hz|°C|degC|mm|cm|m|N|%|counts?|a\.?u\.?)\s*[\])]?"
)


@dataclass(frozen=True, slots=True)
class Layout:
    """How one file is laid out, as its beginning shows."""

    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]  # empty where there is no row of units
    n_head: int  # lines before the first row of data
    n_above: int = 0  # lines with content above the column names, comments left out
    joined: bool = False  # names made of two rows: a sensor's above, a channel's under it
    commented: bool = False  # names read from a line marked as a comment


def read(path: Path, request: Request) -> Table:
    """Read the requested columns of a delimited text file."""
    layout = sniff(path, request)
    wanted = choose_columns(request, layout.names)
    if request.columns is None:
        wanted = _numeric_columns(path, layout, wanted, request)
    places = [layout.names.index(name) for name in wanted]
    values, n_comments = read_columns(path, layout, places, request)
    units = dict(zip(layout.names, layout.units, strict=True)) if layout.units else {}
    return Table(
        columns=tuple(wanted),
        values=values,
        units={name: units[name] for name in wanted if units.get(name)},
        row_of=lambda sample: row_of(path, layout, sample),
        notes=_layout_notes(layout, n_comments),
    )


def _layout_notes(layout: Layout, n_comments: int) -> tuple[str, ...]:
    """Say what was understood beyond a plain header and rows of numbers."""
    notes = []
    if n_comments:
        notes.append(f"{n_comments} comment line(s) among the rows passed over")
    if layout.commented:
        notes.append("column names read from the comment line above the numbers")
    if layout.joined:
        notes.append("column names made of two rows, as in 'thigh acc_x'")
    if layout.n_above:
        notes.append(f"{layout.n_above} line(s) of text above the column names passed over")
    if layout.units:
        notes.append("units read from the row under the header")
    return tuple(notes)


def sniff(path: Path, request: Request) -> Layout:
    """Find out the delimiter, the decimal sign, the header and a row of units under it.

    Raises
    ------
    RecordingError
        If the file is empty, not UTF-8, or begins with numbers where a header should be.
    """
    lines = _head_lines(path, request)
    header = _find_header(lines, request)
    if header is None:
        raise RecordingError(
            f"{request.source}: is empty; accepted: a row of column names, then rows of numbers."
        )
    delimiter = max(DELIMITERS, key=lines[header].count)
    names = _cells(lines[header], delimiter)
    first = header + 1  # the line after the column names
    commented = all(_looks_numeric(name) for name in names if name)
    if commented:
        names, first = _names_in_comment(lines, header, delimiter), header
    if not names:
        raise RecordingError(
            f"{request.source}, row {header + 1}: holds numbers where the column names should be; "
            "add a header row."
        )
    body = [_cells(line, delimiter) for line in lines[first : first + 200]]
    units: tuple[str, ...] = ()
    if body and len(body[0]) == len(names) and _is_units_row(body[0]):
        units = tuple("" if cell == "-" else cell.strip("[]() ") for cell in body[0])
    above = None if commented else _row_of_groups(lines, header, names, delimiter)
    joined = _joined(above, names) if above is not None else names
    return Layout(
        delimiter=delimiter,
        decimal=_decimal(body, delimiter),
        names=tuple(joined),
        units=units,
        n_head=first + bool(units),
        n_above=sum(_is_header(line) for line in lines[:header]) - (above is not None),
        joined=above is not None,
        commented=commented,
    )


def _names_in_comment(lines: list[str], header: int, delimiter: str) -> list[str]:
    """Return the names in the comment line above the first numbers; none where it holds none."""
    if header == 0:
        return []
    names = _cells(lines[header - 1].lstrip("#%/ "), delimiter)
    numbers = _cells(lines[header], delimiter)
    return names if len(names) == len(numbers) and not any(map(_looks_numeric, names)) else []


def _row_of_groups(
    lines: list[str], header: int, names: list[str], delimiter: str
) -> list[str] | None:
    """Return the row above names that occur twice, where it tells them apart: sensors' names."""
    if header == 0 or len(set(names)) == len(names) or not _is_header(lines[header - 1]):
        return None
    groups = _cells(lines[header - 1], delimiter)
    if len(groups) != len(names):
        return None
    joined = _joined(groups, names)
    return groups if len(set(joined)) == len(joined) else None


def _joined(groups: list[str], names: list[str]) -> list[str]:
    """Return "thigh acc_x" for acc_x under thigh; a group holds until the next one begins."""
    joined, group = [], ""
    for own, name in zip(groups, names, strict=True):
        group = own or group
        joined.append(f"{group} {name}" if group and names.count(name) > 1 else name)
    return joined


def _head_lines(path: Path, request: Request) -> list[str]:
    """Return the lines at the beginning of the file, the last one whole or left out."""
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise RecordingError(f"{request.source}: is UTF-16 text; save it as UTF-8.")
    if b"\0" in head:
        raise RecordingError(
            f"{request.source}: holds bytes that text does not have (byte "
            f"{head.index(0)}); accepted: delimited text in UTF-8."
        )
    try:
        decoder = codecs.getincrementaldecoder("utf-8-sig")()
        text = decoder.decode(head, final=len(head) < HEAD_BYTES)
    except UnicodeDecodeError as error:
        raise RecordingError(
            f"{request.source}: byte {error.start} is not UTF-8; save it as UTF-8."
        ) from None
    lines = re.split(r"\r\n|\n|\r", text)
    return lines if len(head) < HEAD_BYTES or len(lines) < 2 else lines[:-1]


def _find_header(lines: list[str], request: Request) -> int | None:
    """Return the line of the column names, lines of text above it passed over.

    It is the first that holds every declared column; without one, the first with content whose
    next rows are as long and hold numbers; without that, the first with content.
    """
    content = list(islice((i for i, line in enumerate(lines) if _is_header(line)), HEAD_LINES))
    cells = {i: _cells(lines[i], max(DELIMITERS, key=lines[i].count)) for i in content}
    wanted = {*(request.columns or ()), *([request.time] if request.time else ())}
    for i, names in cells.items():
        if wanted and wanted <= {*names, *_under_groups(cells, i)}:
            return i
    for i, below, second in zip(content, content[1:], content[2:], strict=False):
        units = _is_units_row(cells[below])
        row = cells[second if units else below]
        as_long = len(row) == len(cells[i]) and not all(map(_looks_numeric, cells[i]))
        if as_long and any(map(_looks_numeric, row)):
            return i
    return content[0] if content else None


def _under_groups(cells: dict[int, list[str]], i: int) -> list[str]:
    """Return the names of a row joined with those of the row above it, where there is one."""
    above = cells.get(i - 1)
    return _joined(above, cells[i]) if above and len(above) == len(cells[i]) else []


def _is_header(line: str) -> bool:
    """Tell a line with content from blank lines, comments and bare delimiters."""
    return bool(line.strip(" ,;\t")) and not line.lstrip().startswith(COMMENT_SIGNS)


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]


def _looks_numeric(cell: str) -> bool:
    return re.fullmatch(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?", cell) is not None


def _is_units_row(cells: list[str]) -> bool:
    return (
        any(cells)
        and all(not cell or UNIT_WORDS.fullmatch(cell) for cell in cells)
        and not all(_looks_numeric(cell) for cell in cells if cell)
    )


def _decimal(body: list[list[str]], delimiter: str) -> str:
    """Return the decimal sign.

    Where commas part the cells too, a cell in quotation marks may hold one; it is a decimal comma
    unless three digits follow in every such cell, which may be thousands.
    """
    digits = r"(\d{1,2}|\d{4,})" if delimiter == "," else r"\d+"
    with_comma = re.compile(rf"[+-]?\d*,{digits}([eE][+-]?\d+)?")
    return "," if any(with_comma.fullmatch(cell) for cell in chain(*body)) else "."


def read_columns(
    path: Path, layout: Layout, places: list[int], request: Request
) -> tuple[Array, int]:
    """Read the columns at `places`; (n, len(places)), NaN where a cell is empty.

    The second value counts comment lines among the rows, which are passed over.

    Raises
    ------
    RecordingError
        With the row and the column of the first cell that is no number.
    """
    try:
        return _read_fast(path, layout, places), 0
    except ArrowException:
        return _read_slow(path, layout, places, request)


def _read_fast(path: Path, layout: Layout, places: list[int]) -> Array:
    """Read the columns at `places` with pyarrow; any oddity raises ArrowException."""
    keys = [str(place) for place in range(len(layout.names))]
    chosen = [keys[place] for place in places]
    table = arrow_csv.read_csv(
        path,
        read_options=arrow_csv.ReadOptions(skip_rows=layout.n_head, column_names=keys),
        parse_options=arrow_csv.ParseOptions(
            delimiter=layout.delimiter, ignore_empty_lines=len(keys) > 1
        ),
        convert_options=arrow_csv.ConvertOptions(
            include_columns=chosen,
            column_types=dict.fromkeys(chosen, float64()),
            null_values=list(MISSING_WORDS),
            decimal_point=layout.decimal,
            check_utf8=False,
        ),
    )
    return _rows(table.select(chosen))


def _rows(table: ArrowTable) -> Array:
    """Return a table's columns of floats side by side, (n, n_columns), NaN where null.

    Batch by batch, so that what is written stays near: column by column over a day's recording
    the same lines of memory would be fetched once a column.
    """
    values = np.empty((table.num_rows, table.num_columns))
    row = 0
    for batch in table.to_batches():
        part = values[row : row + batch.num_rows]
        for place, column in enumerate(batch.columns):
            part[:, place] = column.to_numpy(zero_copy_only=False)
        row += batch.num_rows
    return values


def _records(path: Path, layout: Layout) -> Iterator[tuple[int, list[str]]]:
    """Yield each row of data with the line it starts on; blank lines as the fast path has them.

    Bytes that are not UTF-8 spoil the cell they are in, and no other.
    """
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        for _ in range(layout.n_head):
            next(stream, "")
        reader = csv.reader(stream, delimiter=layout.delimiter)
        start = layout.n_head + 1
        for cells in reader:
            if (cells or len(layout.names) == 1) and not _is_comment(cells):
                yield start, cells or [""]
            start = layout.n_head + reader.line_num + 1


def _is_comment(cells: list[str]) -> bool:
    return bool(cells) and cells[0].lstrip().startswith(COMMENT_SIGNS)


def _count_comments(path: Path, layout: Layout) -> int:
    """Count the comment lines among the rows of data."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        rows = csv.reader(stream, delimiter=layout.delimiter)
        return sum(_is_comment(cells) for cells in islice(rows, layout.n_head, None))


def row_of(path: Path, layout: Layout, sample: int) -> str:
    """Return the row of a sample as an editor numbers the lines of the file."""
    for index, (row, _) in enumerate(_records(path, layout)):
        if index == sample:
            return f"row {row}"
    return f"sample {sample + 1}"


def _read_slow(
    path: Path, layout: Layout, places: list[int], request: Request
) -> tuple[Array, int]:
    """Read cell by cell, and name the first row and column that cannot be read."""
    rows: list[list[float]] = []
    row = layout.n_head
    try:
        for row, cells in _records(path, layout):
            if len(cells) != len(layout.names):
                raise RecordingError(
                    f"{request.source}, row {row}: has {len(cells)} cell(s) where the header has "
                    f"{len(layout.names)}; is the row incomplete?"
                )
            rows.append([_to_number(cells[place], layout, row, place, request) for place in places])
    except csv.Error as error:
        raise RecordingError(f"{request.source}, after row {row}: {error}.") from None
    values = np.array(rows, dtype=np.float64).reshape(len(rows), len(places))
    return values, _count_comments(path, layout)


def _to_number(cell: str, layout: Layout, row: int, place: int, request: Request) -> float:
    text = cell.strip()
    if text in MISSING_WORDS:
        return math.nan
    if layout.decimal == ",":
        text = text.replace(",", ".")
    try:
        return float("" if "_" in text else text)
    except ValueError:
        raise RecordingError(
            f"{request.source}, row {row}, column {layout.names[place]!r}: is {cell!r}; accepted: "
            "a number, or an empty cell for a gap."
        ) from None


def _numeric_columns(path: Path, layout: Layout, wanted: list[str], request: Request) -> list[str]:
    """Return the columns that hold numbers in the first rows, each name once."""
    sample = [cells for (_, cells), _ in zip(_records(path, layout), range(200), strict=False)]
    numeric = []
    for place, name in enumerate(layout.names):
        cells = [row[place].strip() for row in sample if len(row) == len(layout.names)]
        filled = [cell for cell in cells if cell not in MISSING_WORDS]
        unique = bool(name) and layout.names.count(name) == 1
        if unique and name in wanted and all(_looks_numeric(cell) for cell in filled):
            numeric.append(name)
    if not numeric:
        raise RecordingError(
            f"{request.source}: holds no column of numbers; accepted: a row of column names, then "
            "rows of numbers."
        )
    return numeric


FORMAT = Format("delimited text", (".csv", ".tsv", ".txt", ".dat"), read)
