"""Delimited text that ends within a number, as where copying or recording was broken off."""

from __future__ import annotations

from pathlib import Path

from twinangle.formats.delimited_layout import Layout
from twinangle.naming import shown
from twinangle.notices import Notice

# Own rule, no source.
_READ = 65_536  # bytes of the end that are looked at
_ROWS = 50  # before the last, which its digits are held against


def cut_short_notes(path: Path, layout: Layout) -> tuple[str, ...]:
    """Warn where a file ends within a row, by what its end can tell; nothing is left out for it.

    Many programs write no line end behind the last row, and some drop zeros at a number's end. So
    it is told only where the line end is missing and the last cell has fewer digits behind the
    decimal sign than every one of fifty rows before it: by two at least, unless they all have as
    many.

    Parameters
    ----------
    path : Path
    layout : Layout
        Its delimiter and decimal sign.

    Returns
    -------
    tuple of str
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        stream.seek(max(size - _READ, 0))
        end = stream.read().decode("utf-8", errors="replace")
    if not end or end[-1] in "\r\n":
        return ()
    cells = [line.rpartition(layout.delimiter)[2].strip() for line in end.splitlines()]
    *before, last = cells[-_ROWS - 1 :]
    if len(before) < _ROWS or not last:
        return ()
    digits = [len(cell.partition(layout.decimal)[2]) for cell in before]
    fewest, own = min(digits), len(last.partition(layout.decimal)[2])
    if fewest - own < (1 if fewest == max(digits) else 2):
        return ()
    text = (
        "the file seems to end within a number: no line end follows its last cell, "
        f"{shown(last)}, which has fewer digits behind the decimal sign than any of the {_ROWS} "
        f"rows before ({fewest} or more). Copying or recording was likely broken off there: what "
        "came after is missing, and this last value may be wrong."
    )
    return (Notice(text, "file-cut-off"),)
