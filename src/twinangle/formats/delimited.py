"""Delimited text: comma, semicolon or tab; decimal point or comma; UTF-8 with or without BOM.

The fast path hands the declared columns to pyarrow's CSV reader. Where that stumbles, the slow
path reads cell by cell: it accepts what a person would, and otherwise names row and column.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.errors import RecordingError, closed
from twinangle.formats.base import choose_columns
from twinangle.formats.cut_short import cut_short_notes
from twinangle.formats.delimited_layout import (
    COMMENT_SIGNS,
    MISSING_WORDS,
    Layout,
    fitted,
    looks_numeric,
    sniff,
)
from twinangle.formats.quotation_marks import refuse_stray_marks
from twinangle.formats.request import Format, Request, Table
from twinangle.naming import shown
from twinangle.signals.recording import Array

if TYPE_CHECKING:
    from pyarrow import Array as ArrowArray
    from pyarrow import RecordBatch
    from pyarrow import Table as ArrowTable

NO_NUMBERS = "holds no column of numbers"


def read(path: Path, request: Request) -> Table:
    """Read the requested columns of a delimited text file."""
    layout = sniff(path, request)
    refuse_stray_marks(path, layout, request)
    wanted = choose_columns(request, layout.names)
    left_out: list[str] = []
    if request.columns is None:
        wanted, left_out = _numeric_columns(path, layout, wanted, request)
    places = [layout.names.index(name) for name in wanted]
    values, n_comments = read_columns(path, layout, places, request)
    units = dict(zip(layout.names, layout.units, strict=True)) if layout.units else {}
    return Table(
        columns=tuple(wanted),
        values=values,
        units={name: units[name] for name in wanted if units.get(name)},
        row_of=lambda sample: row_of(path, layout, sample),
        notes=(*_layout_notes(layout, n_comments), *left_out, *cut_short_notes(path, layout)),
    )


def read_parts(path: Path, request: Request, most_rows: int) -> Iterator[Table]:
    """Yield the requested columns of a delimited text file, so many rows at a time.

    Raises
    ------
    RecordingError
        With row and column of the first cell that is no number; that a file has comment lines
        among its rows, or is odd in another way, is told as such: read whole, it may be mended.
    """
    from pyarrow import ArrowException

    layout = sniff(path, request)
    refuse_stray_marks(path, layout, request)
    wanted = choose_columns(request, layout.names)
    places = [layout.names.index(name) for name in wanted]
    units = dict(zip(layout.names, layout.units, strict=True)) if layout.units else {}
    row = 0
    try:
        for values in _read_fast_parts(path, layout, places, most_rows):
            yield Table(
                columns=tuple(wanted),
                values=values,
                units={name: units[name] for name in wanted if units.get(name)},
                row_of=partial(_row_behind, path, layout, row),
                notes=_layout_notes(layout, 0) if row == 0 else (),
            )
            row += len(values)
    except ArrowException as error:
        for_its_width = _row_of_other_width(path, layout, request)
        if for_its_width:
            raise RecordingError(for_its_width) from None
        reason = str(error).splitlines()[0]
        raise RecordingError(
            f"{request.source}, after row {row_of(path, layout, max(row - 1, 0))[4:]}: cannot be "
            f"read part by part ({reason}). Accepted: numbers, empty cells for gaps, the same "
            "number of cells in every row, no lines of comment among them."
        ) from None


def _row_behind(path: Path, layout: Layout, before: int, sample: int) -> str:
    return row_of(path, layout, before + sample)


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
    from pyarrow import ArrowException

    try:
        return _read_fast(path, layout, places), 0
    except ArrowException:
        return _read_slow(path, layout, places, request)


def _read_fast(path: Path, layout: Layout, places: list[int]) -> Array:
    """Read the columns at `places` with pyarrow; any oddity raises ArrowException."""
    from pyarrow import csv as arrow_csv

    chosen, how = _fast_options(layout, places)
    return _rows(arrow_csv.read_csv(path, **how).select(chosen))


def _read_fast_parts(
    path: Path, layout: Layout, places: list[int], most_rows: int
) -> Iterator[Array]:
    """Yield the same part by part; the file is never in memory as a whole."""
    from pyarrow import Table as ArrowTable
    from pyarrow import csv as arrow_csv

    chosen, how = _fast_options(layout, places)
    waiting: list[RecordBatch] = []
    n_rows = 0
    with arrow_csv.open_csv(path, **how) as stream:
        for batch in stream:
            waiting.append(batch)
            n_rows += batch.num_rows
            if n_rows >= most_rows:
                yield _rows(ArrowTable.from_batches(waiting).select(chosen))
                waiting, n_rows = [], 0
    if n_rows:
        yield _rows(ArrowTable.from_batches(waiting).select(chosen))


def _fast_options(layout: Layout, places: list[int]) -> tuple[list[str], dict[str, Any]]:
    """Return the keys of the columns, in order, and pyarrow's options to read them."""
    from pyarrow import csv as arrow_csv
    from pyarrow import float64

    keys = [str(place) for place in range(len(layout.names))]
    chosen = [keys[place] for place in places]
    return chosen, {
        "read_options": arrow_csv.ReadOptions(skip_rows=layout.n_head, column_names=keys),
        "parse_options": arrow_csv.ParseOptions(
            delimiter=layout.delimiter, ignore_empty_lines=len(keys) > 1
        ),
        "convert_options": arrow_csv.ConvertOptions(
            include_columns=chosen,
            column_types=dict.fromkeys(chosen, float64()),
            null_values=list(MISSING_WORDS),
            decimal_point=layout.decimal,
            check_utf8=False,
        ),
    }


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
            part[:, place] = _floats(column)
        row += batch.num_rows
    return values


def _floats(column: ArrowArray) -> Array:
    """Return a column of floats, NaN where null, from Arrow's two buffers.

    Its own way to numpy loads pandas first, half a second in every process that reads.
    """
    known, held = column.buffers()
    here = slice(column.offset, column.offset + len(column))
    values = np.frombuffer(held, np.float64)[here]
    if not column.null_count:
        return values
    bits = np.unpackbits(np.frombuffer(known, np.uint8), bitorder="little")
    return np.where(bits[here] > 0, values, np.nan)


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
    records = _records(path, layout)
    try:
        for row, found in records:
            cells = fitted(found, len(layout.names))
            where = f"{request.source}, row {row}"
            if len(cells) != len(layout.names):
                is_last = next(records, None) is None
                raise RecordingError(where + _of_other_width(cells, layout, is_last=is_last))
            try:
                numbers = [_to_number(cells[place], layout, place, where) for place in places]
            except RecordingError as error:
                if _ends_within(path, cells) and next(records, None) is None:
                    raise RecordingError(f"{error} It is the last row{_CUT_OFF}") from None
                raise
            rows.append(numbers)
    except csv.Error as error:
        raise RecordingError(f"{request.source}, after row {row}: {closed(error)}") from None
    values = np.array(rows, dtype=np.float64).reshape(len(rows), len(places))
    return values, _count_comments(path, layout)


_CUT_OFF = (
    ", and the file seems to have been cut off while it was written or copied: copy it anew, or "
    "delete that row and note that the recording ends there."
)


def _of_other_width(cells: list[str], layout: Layout, *, is_last: bool) -> str:
    """Say that a row has more or fewer cells than the header, and what that most likely is."""
    width = len(layout.names)
    text = f": has {len(cells)} cell(s) where the header has {width}"
    if len(cells) > width:
        return f"{text}; accepted: {width} in every row."
    if cells[0].strip()[:1] not in "+-.0123456789":  # a number, a date or a time of day
        return f"{text}; is it a remark? Delete the row then."
    if is_last:
        return f"{text}. The row is incomplete. It is the last one{_CUT_OFF}"
    return f"{text}. The row is incomplete: complete it, or fill it up with empty cells (a gap)."


def _row_of_other_width(path: Path, layout: Layout, request: Request) -> str:
    """Say which is the first row of another width than the header's; empty where none is."""
    records = _records(path, layout)
    for row, found in records:
        cells = fitted(found, len(layout.names))
        if len(cells) != len(layout.names):
            is_last = next(records, None) is None
            return f"{request.source}, row {row}" + _of_other_width(cells, layout, is_last=is_last)
    return ""


def _ends_within(path: Path, cells: list[str]) -> bool:
    """Whether a file ends without a line end, right behind these cells."""
    with path.open("rb") as stream:
        stream.seek(-min(path.stat().st_size, 64), 2)
        end = stream.read().decode("utf-8", errors="replace")
    return bool(end) and end[-1] not in "\r\n" and end.endswith(cells[-1][-16:])


def _to_number(cell: str, layout: Layout, place: int, where: str) -> float:
    text = cell.strip()
    if text in MISSING_WORDS:
        return math.nan
    if layout.decimal == ",":
        text = text.replace(",", ".")
    try:
        return float("" if "_" in text else text)
    except ValueError:
        raise RecordingError(
            f"{where}, column {layout.names[place]!r}: is {shown(cell)}; accepted: a number, or an "
            "empty cell for a gap."
        ) from None


def _numeric_columns(
    path: Path, layout: Layout, wanted: list[str], request: Request
) -> tuple[list[str], list[str]]:
    """Return the columns that hold numbers in the first rows, each name once.

    The second list tells of columns of numbers that a text among them keeps out.
    """
    width = len(layout.names)
    sample = [(row, fitted(cells, width)) for row, cells in islice(_records(path, layout), 200)]
    numeric, left_out = [], []
    for place, name in enumerate(layout.names):
        if name not in wanted or not name or layout.names.count(name) > 1:
            continue
        cells = [(row, found[place].strip()) for row, found in sample if len(found) == width]
        filled = [(row, cell) for row, cell in cells if cell not in MISSING_WORDS]
        texts = [(row, cell) for row, cell in filled if not looks_numeric(cell)]
        if not texts:
            numeric.append(name)
        elif len(texts) < len(filled) / 2:
            left_out.append(
                f"column {shown(name)} left out: row {texts[0][0]} holds {shown(texts[0][1])} "
                "where a number should be"
            )
    if not numeric:
        raise RecordingError(
            f"{request.source}: {NO_NUMBERS}; accepted: a row of column names, then "
            "rows of numbers."
        )
    return numeric, left_out


FORMAT = Format("delimited text", (".csv", ".tsv", ".txt", ".dat"), read, read_parts=read_parts)
