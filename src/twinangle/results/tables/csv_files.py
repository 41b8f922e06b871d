"""Tables as CSV: UTF-8, comma, point, one header row; no number is an empty cell."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from functools import lru_cache
from io import StringIO
from itertools import chain, islice
from pathlib import Path
from typing import Any

from twinangle.results.tables.columns import Column
from twinangle.results.tables.printing import printed_columns
from twinangle.visible import make_visible

PRINTABLE = "printable"
FORMULA = ("=", "+", "-", "@")
ROWS_AT_ONCE = 4096  # in memory, column by column


def write_csv(
    folder: Path, name: str, columns: tuple[Column, ...], lines: Iterable[tuple[str, str]]
) -> tuple[Path, Path]:
    """Write a table twice: unrounded, and rounded for reading.

    Parameters
    ----------
    folder : Path
        An existing folder that holds a folder `printable`.
    name : str
        The table's.
    columns : tuple of Column
        Its columns.
    lines : iterable of (str, str)
        Its rows, as :func:`csv_lines` yields them; without any the header is written alone.

    Returns
    -------
    tuple of Path
        The unrounded file and the rounded one.
    """
    exact, printed = (folder / part / f"{name}.csv" for part in ("", PRINTABLE))
    head = _text([[csv_cell(column.name) for column in columns]])
    with ExitStack() as stack:
        files = [
            stack.enter_context(path.open("w", encoding="utf-8", newline=""))
            for path in (exact, printed)
        ]
        for each in chain([(head, head)], lines):
            for file, text in zip(files, each, strict=True):
                file.write(text)
    return exact, printed


def csv_lines(columns: tuple[Column, ...], rows: Iterable[Any]) -> Iterator[tuple[str, str]]:
    """Yield the lines of rows, unrounded and rounded, many rows at a time.

    Parameters
    ----------
    columns : tuple of Column
        A table's.
    rows : iterable
        Rows of its kind.
    """
    held = iter(rows)
    while some := list(islice(held, ROWS_AT_ONCE)):
        values = [column.values(some) for column in columns]
        whole = list(map(_whole_cells, columns, values))
        numbers = printed_columns(columns, values)
        rounded = [numbers.get(k, cells) for k, cells in enumerate(whole)]
        yield _text(zip(*whole, strict=True)), _text(zip(*rounded, strict=True))


def _text(rows: Iterable[Iterable[Any]]) -> str:
    text = StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _whole_cells(column: Column, values: list[Any]) -> list[Any]:
    """Return the cells of a column, its numbers in full."""
    if column.kind == "string":  # the same few over and over
        cells = {value: csv_cell(value) for value in set(values)}
        return [cells[value] for value in values]
    if column.kind == "number":
        values = [None if value is None else float(value) for value in values]
    return list(map(csv_cell, values))


def csv_cell(value: Any) -> Any:
    """Return what a cell holds: text, a number in full, nothing for none.

    Text that a spreadsheet would take for a formula (it begins with =, +, - or @ and is no number)
    has an apostrophe before it, which makes it text there; control characters (a tab or a carriage
    return before such a one among them) are shown as their codes.
    """
    if type(value) is str:  # most cells; the same few over and over
        return _text_cell(value)
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, str):
        return _text_cell(str(value))
    return repr(value) if isinstance(value, float) else value


@lru_cache(maxsize=8192)
def _text_cell(text: str) -> str:
    text = make_visible(text, keep="\n")
    return f"'{text}" if text.startswith(FORMULA) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?", text, re.ASCII) is not None
