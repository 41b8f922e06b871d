"""A quotation mark that opens a cell and does not close it swallows the rows up to the next one.

No reader can tell such a cell from a remark of several lines but by what it holds: where a line
within the cell would itself be a row of the table, the mark is taken for a stray one.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats.delimited_layout import Layout
from twinangle.formats.request import Request
from twinangle.naming import holds_a_row

PIECE_BYTES = 1 << 22


def refuse_stray_marks(path: Path, layout: Layout, request: Request) -> None:
    """Refuse a file in which a quotation mark swallows rows.

    Raises
    ------
    RecordingError
        With the row in which the mark stands.
    """
    first = next((line for line in _odd_lines(path) if line >= layout.n_head), None)
    if first is None:
        return
    width = len(layout.names)
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        reader = csv.reader(islice(stream, first, None), delimiter=layout.delimiter)
        row = first + 1
        try:
            for cells in reader:
                if holds_a_row(cells, layout.delimiter, width):
                    break
                row = first + 1 + reader.line_num
            else:
                return
        except csv.Error:  # a cell longer than the library takes: the rest of the file, mostly
            pass
        n_lines = max(reader.line_num - (row - first - 1), 1)
    raise RecordingError(
        f"{request.source}, row {row}: a quotation mark opens a cell there and is not closed in "
        f"the same row, so that {n_lines} rows would be read as one; take it out, or close it."
    )


def _odd_lines(path: Path) -> Iterator[int]:
    """Yield the lines, counted from 0, with an odd number of quotation marks."""
    line, marks = 0, 0  # lines that ended before the piece, and marks in the one that goes on
    with path.open("rb") as stream:
        end = b"\n" if b"\n" in stream.read(PIECE_BYTES) else b"\r"
        stream.seek(0)
        while piece := stream.read(PIECE_BYTES):
            if b'"' in piece or marks:
                signs = np.frombuffer(piece, np.uint8)
                ends = np.flatnonzero(signs == end[0])
                places = np.searchsorted(ends, np.flatnonzero(signs == ord('"')))
                counts = np.bincount(places, minlength=ends.size + 1)
                counts[0] += marks
                marks = int(counts[-1])
                yield from (line + int(at) for at in np.flatnonzero(counts[:-1] % 2))
                line += int(ends.size)
            else:
                line += piece.count(end)
    if marks % 2:
        yield line
