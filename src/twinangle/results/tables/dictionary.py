"""The data dictionary: every file, every column with type, unit and meaning.

A Data Package whose resources have a Table Schema (Data Package Standard, version 2.0,
datapackage.org). `unit` is a property of ours: the standard has none and lets a field carry
further properties.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from twinangle.results.tables.columns import Column

DICTIONARY = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DESCRIPTION = (
    "Tables of a study of agreement between a wearable and a reference. Angles in degrees, flexion "
    "positive; a difference is wearable minus reference; time in seconds on the wearable's clock. "
    "An empty cell is a number that there is not. No licence is set here: add yours before the "
    "data are shared."
)
_MEDIA = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}


@dataclass(frozen=True, slots=True)
class Described:
    """One file of the tables, with what its rows are."""

    path: Path
    meaning: str
    columns: tuple[Column, ...]


def write_dictionary(folder: Path, title: str, files: Iterable[Described]) -> Path:
    """Write `datapackage.json` beside the files it describes.

    Parameters
    ----------
    folder : Path
        The folder of the tables.
    title : str
        The study's.
    files : iterable of Described
        Files within `folder`.
    """
    package = {
        "$schema": PROFILE,
        "name": "twinangle-tables",
        "title": title,
        "description": DESCRIPTION,
        "resources": [_resource(folder, file) for file in files],
    }
    path = folder / DICTIONARY
    text = json.dumps(package, ensure_ascii=False, indent=1)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
    return path


def _resource(folder: Path, file: Described) -> dict[str, Any]:
    place = file.path.relative_to(folder)
    kind = place.suffix.removeprefix(".")
    resource: dict[str, Any] = {
        "name": "-".join(
            (*place.parts[:-1], place.stem, *(["points"] if kind == "parquet" else []))
        ),
        "type": "table",
        "path": place.as_posix(),
        "title": file.meaning,
        "format": kind,
        "mediatype": _MEDIA[kind],
    }
    if kind == "csv":
        resource["encoding"] = "utf-8"
    with file.path.open("rb") as stream:
        resource["hash"] = f"sha256:{hashlib.file_digest(stream, 'sha256').hexdigest()}"
    resource["bytes"] = file.path.stat().st_size
    resource["schema"] = {
        "fields": [_field(column) for column in file.columns],
        "missingValues": [""],
    }
    return resource


def _field(column: Column) -> dict[str, str]:
    field = {"name": column.name, "type": column.kind, "description": column.meaning}
    return field | ({"unit": column.unit} if column.unit else {})
