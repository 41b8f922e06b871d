"""Files that cannot be read: by their beginning they have a place in the study all the same."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from twinangle.errors import RecordingError
from twinangle.formats import FileDescription, describe_file
from twinangle.init.paths import Place

if TYPE_CHECKING:
    from twinangle.init.folder_contents import Found

# Own choices: beginnings that are tried, each shorter one less likely to hold the broken row.
_LINES = (1000, 200, 40)
_MOST_BYTES = 1 << 22


@dataclass(frozen=True, slots=True)
class BrokenFile:
    """A file of a known format that cannot be read, and why."""

    path: str  # relative to the folder
    place: Place
    why: str  # begins with the path


def by_its_beginning(broken: BrokenFile, file: Path, sound: Iterable[Found]) -> Found | None:
    """Return what a file with a broken row is, as its first rows and its fellows tell.

    Parameters
    ----------
    broken : BrokenFile
    file : Path
        Where it is.
    sound : iterable of Found
        Files that could be read: one with the same channels gives section and column.

    Returns
    -------
    Found or None
        None where the beginning cannot be read either, or no other file has its channels.
    """
    begins = _beginning(file)
    if begins is None:
        return None
    channels = [each.name for each in begins.channels]
    for other in sound:
        if other.description is None:
            continue
        if [each.name for each in other.description.channels] == channels:
            cells = {
                column: broken.path if cell == other.path else cell
                for column, cell in other.cells.items()
            }
            return replace(other, path=broken.path, cells=cells, place=broken.place)
    return None


def told_of(broken: Sequence[BrokenFile], rows: Sequence[dict[str, str]]) -> list[str]:
    """Say of each broken file what is broken, and whether a row of the table names it."""
    named = {cell for row in rows for cell in row.values()}
    stands = (
        "trials.csv names it all the same, by its name and its first rows: mend the file, or say "
        "in that row's `exclude` why it is left out"
    )
    left = (
        "no row of trials.csv names it: mend the file and propose anew, or write its row yourself"
    )
    return [f"{each.why} So far {stands if each.path in named else left}." for each in broken]


def _beginning(file: Path) -> FileDescription | None:
    """Return what a text file's first rows describe; None where they are no recording either."""
    try:
        with file.open("rb") as stream:
            lines = list(islice(stream, _LINES[0]))[:-1]  # the last may be the broken one
    except OSError:
        return None
    if sum(len(each) for each in lines) > _MOST_BYTES:
        return None
    for many in _LINES:
        with tempfile.TemporaryDirectory() as folder, suppress(RecordingError, csv.Error):
            copy = Path(folder) / file.name
            copy.write_bytes(b"".join(lines[:many]))
            return describe_file(copy)
    return None
