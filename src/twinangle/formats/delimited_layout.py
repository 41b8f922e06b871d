"""How one delimited file is laid out: separator, decimal sign, column names, a row of units.

The separator is the one that parts the rows evenly into numbers, not the commonest sign: with
semicolons and decimal commas there are more commas.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from twinangle.errors import RecordingError
from twinangle.formats.request import Request

# Words that loggers and spreadsheets write where there is no number.
MISSING_WORDS = ("", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL", "-nan")
DELIMITERS = (",", ";", "\t")
COMMENT_SIGNS = ("#", "%", "//")
HEAD_BYTES = 1 << 18
HEAD_LINES = 100  # among which the column names are looked for
ROWS_LIKE = 5  # under the column names, by which these are told from a device's header
TAIL_LINES = 50  # by which the separator is judged
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


def sniff(path: Path, request: Request) -> Layout:
    """Find out the delimiter, the decimal sign, the header and a row of units under it.

    Raises
    ------
    RecordingError
        If the file is empty, not UTF-8, or begins with numbers where a header should be.
    """
    lines = _head_lines(path, request)
    delimiter = _separator(lines, _wanted(request))
    header = _find_header(lines, delimiter, request)
    if header is None:
        raise RecordingError(
            f"{request.source}: is empty; accepted: a row of column names, then rows of numbers."
        )
    names = _cells(lines[header], delimiter)
    first = header + 1  # the line after the column names
    commented = all(looks_numeric(name) for name in names if name)
    if commented:
        names, first = _names_in_comment(lines, header, delimiter), header
    if not names:
        raise RecordingError(
            f"{request.source}, row {header + 1}: holds numbers where the column names should be; "
            "add a header row."
        )
    below = [_cells(line, delimiter) for line in lines[first : first + 200] if line.strip()]
    names = _as_wide_as(below, names)
    body = [fitted(cells, len(names)) for cells in below]
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
    return names if _alike(names, numbers) and not any(map(looks_numeric, names)) else []


def _row_of_groups(
    lines: list[str], header: int, names: list[str], delimiter: str
) -> list[str] | None:
    """Return the row above, where it tells names apart or holds one that is wanting."""
    if header == 0 or not _is_header(lines[header - 1]):
        return None
    groups = _cells(lines[header - 1], delimiter)
    return groups if joined_names(groups, names) is not None else None


def joined_names(groups: Sequence[str], names: Sequence[str]) -> list[str] | None:
    """Return column names made of two rows; None where the row above adds nothing.

    "thigh acc_x" for acc_x under thigh where acc_x occurs twice: a group holds until the next one
    begins. An empty name is the one above it, and "ms" under "Time" is "Time [ms]".
    """
    both = zip(groups, names, strict=False)
    wanting = any(own and (not name or UNIT_WORDS.fullmatch(name)) for own, name in both)
    filled = [name for name in names if name]
    if len(groups) != len(names) or not (wanting or len(set(filled)) < len(filled)):
        return None
    joined = _joined(groups, names)
    named = [name for name in joined if name]
    return joined if len(set(named)) == len(named) else None


def _joined(groups: Sequence[str], names: Sequence[str]) -> list[str]:
    joined, group = [], ""
    for own, name in zip(groups, names, strict=True):
        group = own or group
        if own and name and UNIT_WORDS.fullmatch(name):
            joined.append(f"{own} [{name.strip('[]() ')}]")
        elif name and group and names.count(name) > 1:
            joined.append(f"{group} {name}")
        else:
            joined.append(name or own)
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
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return lines if len(head) < HEAD_BYTES or len(lines) < 2 else lines[:-1]


def _wanted(request: Request) -> set[str]:
    """Return the columns that the request names, the times among them."""
    return {*(request.columns or ()), *([request.time] if request.time else ())}


def _separator(lines: list[str], wanted: set[str]) -> str:
    """Return the separator: one under which every declared column is there, else the most even."""
    first = list(islice(filter(_is_header, lines), HEAD_LINES))
    naming = [line for line in first if _may_name(line, wanted)]
    declared = [
        each for each in DELIMITERS if any(wanted <= {*_cells(line, each)} for line in naming)
    ]
    if wanted and len(declared) == 1:
        return declared[0]
    last = list(islice(filter(_is_header, reversed(lines)), TAIL_LINES))[::-1]
    asked = declared if wanted and declared else DELIMITERS
    return max(asked, key=lambda delimiter: _evenness(first, last, delimiter))


def _may_name(line: str, wanted: set[str]) -> bool:
    """Tell, without parting it into cells, a line that may hold every column asked for."""
    return '"' in line or all(name in line for name in wanted)


def _evenness(first: list[str], last: list[str], delimiter: str) -> float:
    """Return how evenly a separator parts the last rows into numbers, from 0 to 1.1.

    The share of rows with the commonest number of cells, times 0.1 and the share of numbers among
    these cells. A tenth where no row of names is as long; half where nothing is parted.
    """
    rows = [_cells(line, delimiter) for line in last]
    if not rows:
        return 0.0
    widths = Counter(map(len, rows))
    width = max(widths, key=lambda n: (widths[n], n))
    filled = [cell for row in rows if len(row) == width for cell in row if cell]
    numbers = sum(cell in MISSING_WORDS or looks_numeric(cell) for cell in filled)
    score = widths[width] / len(rows) * (0.1 + numbers / max(len(filled), 1))
    typical = next(row for row in rows if len(row) == width)
    named = any(
        _alike(cells, typical) and not any(looks_numeric(cell) for cell in cells)
        for cells in (_cells(line, delimiter) for line in first)
    )
    return score * (1.0 if named else 0.1) * (0.5 if width == 1 else 1.0)


def _alike(first: Sequence[str], second: Sequence[str]) -> bool:
    """Tell whether two rows are as long, a separator at the end of one of them left out."""
    if abs(len(first) - len(second)) > 1:
        return False
    return len(first) == len(second) or not max(first, second, key=len)[-1]


def _as_wide_as(below: list[list[str]], names: list[str]) -> list[str]:
    """Return the names with or without an empty last one, as most rows of numbers have it."""
    widths = Counter(map(len, below))
    width = max(widths, key=lambda n: (widths[n], n)) if widths else len(names)
    if width == len(names) - 1 and not names[-1]:
        return names[:-1]
    ends = {row[-1] for row in below if len(row) == width}
    return [*names, ""] if width == len(names) + 1 and ends == {""} else names


def fitted(cells: list[str], width: int) -> list[str]:
    """Return a row with or without an empty last cell, as wide as the names where that does it."""
    if len(cells) == width + 1 and not cells[-1].strip():
        return cells[:-1]
    return cells


def _find_header(lines: list[str], delimiter: str, request: Request) -> int | None:
    """Return the line of the column names, lines of text above it passed over.

    It is the first that holds every declared column; without one, of those whose next row is as
    long and holds a number, the one under which most of the next rows are like the last rows of
    the file and which has fewest numbers itself; without that, the first with content.
    """
    content = list(islice((i for i, line in enumerate(lines) if _is_header(line)), HEAD_LINES))
    cells: dict[int, list[str]] = {}
    wanted = _wanted(request)
    for i in content:
        cells[i] = _cells(lines[i], delimiter)
        if wanted and wanted <= {*cells[i], *_under_groups(cells, i)}:
            return i
    typical = _typical_row(lines, delimiter)
    plausible = {}
    for place, i in enumerate(content[:-2]):
        below = content[place + 1 :]
        rows = [cells[k] for k in below[_is_units_row(cells[below[0]]) :][:ROWS_LIKE]]
        as_long = _alike(rows[0], cells[i]) and not all(map(looks_numeric, filter(None, cells[i])))
        if as_long and any(map(looks_numeric, rows[0])):
            like = sum(_like(row, typical) for row in rows) / len(rows)
            plausible[i] = like - sum(map(looks_numeric, cells[i])) / len(cells[i])
    return max(plausible, key=plausible.__getitem__, default=next(iter(content), None))


def _typical_row(lines: list[str], delimiter: str) -> list[bool]:
    """Return which cells of the last rows are numbers, in most of the rows as long as most are."""
    last = islice(filter(_is_header, reversed(lines)), TAIL_LINES)
    rows = [_cells(line, delimiter) for line in last]
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
    columns = zip(*(row for row in rows if len(row) == width), strict=True)
    return [2 * sum(map(looks_numeric, column)) > len(column) for column in columns]


def _like(row: list[str], typical: list[bool]) -> bool:
    """Tell whether a row is as long as the typical one, with numbers where that has them."""
    longer = row if len(row) > len(typical) else typical
    as_long = len(row) == len(typical) or (abs(len(row) - len(typical)) == 1 and not longer[-1])
    return as_long and all(
        cell in MISSING_WORDS or looks_numeric(cell)
        for cell, is_number in zip(row, typical, strict=False)
        if is_number
    )


def _under_groups(cells: dict[int, list[str]], i: int) -> list[str]:
    """Return the names of a row joined with those of the row above it, where there is one."""
    above = cells.get(i - 1)
    return _joined(above, cells[i]) if above and len(above) == len(cells[i]) else []


def _is_header(line: str) -> bool:
    """Tell a line with content from blank lines, comments and bare delimiters."""
    return bool(line.strip(" ,;\t")) and not line.lstrip().startswith(COMMENT_SIGNS)


def _cells(line: str, delimiter: str) -> list[str]:
    if '"' not in line:  # nothing to unwrap: a reader for each line takes several times as long
        cells = line.split(delimiter) if line else []
        bare = " " not in line and line.isprintable()
        return cells if bare else [cell.strip() for cell in cells]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:  # a cell longer than the library takes
        return [cell.strip() for cell in line.split(delimiter)]


def looks_numeric(cell: str) -> bool:
    """Tell a number, with a decimal point or comma, from other text."""
    return re.fullmatch(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?", cell) is not None


def _is_units_row(cells: list[str]) -> bool:
    return (
        any(cells)
        and all(not cell or UNIT_WORDS.fullmatch(cell) for cell in cells)
        and not all(looks_numeric(cell) for cell in cells if cell)
    )


def _decimal(body: list[list[str]], delimiter: str) -> str:
    """Return the decimal sign.

    Where commas part the cells too, a cell in quotation marks may hold one; it is a decimal comma
    unless three digits follow in every such cell, which may be thousands.
    """
    digits = r"(\d{1,2}|\d{4,})" if delimiter == "," else r"\d+"
    with_comma = re.compile(rf"[+-]?\d*,{digits}([eE][+-]?\d+)?")
    commas = [cell for row in body for cell in row if "," in cell]
    return "," if any(map(with_comma.fullmatch, commas)) else "."
