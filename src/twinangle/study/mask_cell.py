"""The `mask` cell of the trials table: stretches of a recording to leave out, with reasons."""

from __future__ import annotations

import csv
import re
from itertools import pairwise
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.naming import listed
from twinangle.signals.recording import MaskedStretch
from twinangle.study.cells import finite_number

NEEDED = ("start_s", "end_s", "reason")
SHORTEST_S = 0.1
"""Shortest stretch masked, s: a gap below 0.05 s would be bridged again."""

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_ENTRY = re.compile(rf"({_NUMBER})\s*(?:s\s*)?(?:-|–|to)\s*({_NUMBER})\s*(?:s\b)?\s*[:,]?\s*(.*)")
_EXAMPLE = "'12.5-14.0 slipped strap; 30-31.2 stumble'"


def read_mask(cell: str, table: Path | None, delimiter: str) -> tuple[MaskedStretch, ...]:
    """Return the stretches that a cell names, in the order of time.

    Parameters
    ----------
    cell : str
        ``12.5-14.0 slipped strap; 30-31.2 stumble``, in seconds on the wearable's clock, or the
        name of a CSV file with the columns start_s, end_s and reason.
    table : Path or None
        Where that file would be; None where it would leave the study folder.
    delimiter : str
        What parts the cells of the trials table: decimal commas are understood where it is none.

    Raises
    ------
    StudyError
        What is wrong with it and what would be accepted, without the place of the cell.
    """
    text = cell.strip()
    if not text:
        return ()
    if text.lower().endswith((".csv", ".tsv", ".txt")):
        found = _from_file(text, table)
    else:
        found = [_entry(part, delimiter) for part in text.split(";") if part.strip()]
    found.sort(key=lambda one: one.start_s)
    for before, after in pairwise(found):
        if after.start_s < before.end_s:
            raise StudyError(
                f"holds two stretches that overlap ({before.place} and {after.place}); join them."
            )
    return tuple(found)


def mask_text(mask: tuple[MaskedStretch, ...]) -> str:
    """Return the cell that would name these stretches."""
    return "; ".join(f"{one.start_s:g}-{one.end_s:g} {one.reason}" for one in mask)


def _entry(part: str, delimiter: str) -> MaskedStretch:
    match = _ENTRY.fullmatch(part.strip())
    if match is None:
        raise StudyError(
            f"holds {part.strip()!r}; accepted: start and end in seconds and a reason, as "
            f"{_EXAMPLE}, or the name of a CSV file."
        )
    return _stretch(match[1], match[2], match[3], delimiter)


def _stretch(start: str, end: str, reason: str, delimiter: str) -> MaskedStretch:
    first, last = finite_number(start, delimiter), finite_number(end, delimiter)
    if first is None or last is None:
        raise StudyError(f"holds {start!r} to {end!r}; accepted: two numbers of seconds.")
    if not first < last:
        raise StudyError(f"holds a stretch that ends ({last:g} s) before it starts ({first:g} s).")
    if last - first < SHORTEST_S:
        raise StudyError(
            f"holds a stretch of {last - first:g} s ({first:g} to {last:g} s); the shortest that "
            f"can be masked is {SHORTEST_S:g} s."
        )
    if not reason.strip():
        raise StudyError(
            f"gives no reason for {first:g} to {last:g} s; the report prints it: write it behind "
            f"the times, as {_EXAMPLE}."
        )
    return MaskedStretch(first, last, " ".join(reason.split()))


def _from_file(name: str, path: Path | None) -> list[MaskedStretch]:
    if path is None:
        raise StudyError(f"{name!r} leaves the study folder; move the file into the folder.")
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise StudyError(f"file {name!r} cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError as error:
        raise StudyError(f"file {name!r}: byte {error.start} is not UTF-8.") from None
    delimiter = max(",;\t", key=lines[0].count) if lines else ","
    rows = [(number, row) for number, row in enumerate(csv.reader(lines, delimiter=delimiter), 1)]
    rows = [(number, [cell.strip() for cell in row]) for number, row in rows if any(row)]
    header = rows[0][1] if rows else []
    missing = [column for column in NEEDED if column not in header]
    if missing:
        raise StudyError(f"file {name!r} lacks the column {listed(missing)}; it has {header}.")
    found = []
    for number, row in rows[1:]:
        cells = dict(zip(header, row, strict=False))
        try:
            start, end, reason = (cells.get(column, "") for column in NEEDED)
            found.append(_stretch(start, end, reason, delimiter))
        except StudyError as error:
            raise StudyError(f"file {name!r}, row {number}: {error}") from None
    return found
