"""Plain files of a data set, always the same bytes for the same content: TSV, JSON, TOML, CSV."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from twinangle.errors import StudyError
from twinangle.signals.recording import Array

MISSING = "n/a"  # the specification's word for a missing value
ROWS_AT_ONCE = 50_000
LATENCY = "latency"


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 with plain line ends; folders are made as needed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a JSON object in the order given."""
    write_text(path, json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False) + "\n")


def write_tsv(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a table with a header; None becomes `n/a`, numbers keep every digit.

    Raises
    ------
    StudyError
        If a cell holds a tab or a line end, which the format has no way to write.
    """
    lines = ["\t".join(columns)]
    lines += ["\t".join(_cell(value, path.name) for value in row) for row in rows]
    write_text(path, "\n".join(lines) + "\n")


def _cell(value: object, where: str) -> str:
    text = MISSING if value is None or value == "" else _plain(value)
    if any(sign in text for sign in "\t\n\r"):
        raise StudyError(
            f"{where}: {text!r} holds a tab or a line end, which no TSV cell may hold."
        )
    return text


def _plain(value: object) -> str:
    return repr(float(value)) if isinstance(value, float) else str(value)


def write_csv(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a comma-separated table with a header; None becomes an empty cell."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(["" if cell is None else _plain(cell) for cell in row] for row in rows)


def write_samples(path: Path, values: Array, latency_s: Array) -> None:
    """Write samples without a header: every digit of each value, `n/a` for NaN, latency last.

    The shortest text that reads back to the same number; latencies with six decimals, as the
    specification has them.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as stream:
        for start in range(0, len(values), ROWS_AT_ONCE):
            block = slice(start, start + ROWS_AT_ONCE)
            columns = [_digits(column) for column in values[block].T]
            columns.append([f"{each:.6f}" for each in latency_s[block].tolist()])
            stream.writelines("\t".join(row) + "\n" for row in zip(*columns, strict=True))


def _digits(column: Array) -> list[str]:
    numbers = pa.array(column, from_pandas=True)  # NaN becomes null
    texts: list[str] = pc.fill_null(pc.cast(numbers, pa.string()), MISSING).to_pylist()
    return texts


def toml_text(sections: Mapping[str, Mapping[str, Any]]) -> str:
    """Return TOML: a section each, its plain keys first, its sections of sections after them."""
    parts: list[str] = []
    for name, content in sections.items():
        parts += _toml_section(name, content)
    return "\n\n".join(parts) + "\n"


def _toml_section(name: str, content: Mapping[str, Any]) -> list[str]:
    plain = {key: value for key, value in content.items() if not isinstance(value, Mapping)}
    below = {key: value for key, value in content.items() if isinstance(value, Mapping)}
    parts = []
    if plain or not below:
        rows = [f"{_key(key)} = {_toml_value(value)}" for key, value in plain.items()]
        parts.append("\n".join([f"[{name}]", *rows]))
    for key, value in below.items():
        parts += _toml_section(f"{name}.{_key(key)}", value)
    return parts


def _key(key: str) -> str:
    bare = key.replace("_", "").replace("-", "")
    return key if bare.isascii() and bare.isalnum() else _toml_value(key)


def _toml_value(value: object) -> str:
    """Return a value as TOML has it; a JSON string is a TOML string, but for one control sign."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Sequence):
        return f"[{', '.join(_toml_value(each) for each in value)}]"
    raise TypeError(f"a study file holds no {type(value).__name__}.")
