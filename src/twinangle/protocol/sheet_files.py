"""The sheet as Markdown for a terminal or an editor, and as PDF for paper."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

from twinangle.errors import StudyError
from twinangle.protocol.session_sheet import SessionSheet

TEMPLATE = Path(__file__).with_name("session_sheet.typ")
BLANK = "________"
SUFFIXES = (".pdf", ".md", ".txt")


def as_markdown(sheet: SessionSheet) -> str:
    """Return the sheet as Markdown that reads as plain text too."""
    lines = [f"# {sheet.title}", "", sheet.about, ""]
    lines.append("  ".join(f"{name}: {value or BLANK}" for name, value in sheet.fields))
    for part in sheet.parts:
        lines += ["", f"## {part.title}", "", *(f"- [ ] {line}" for line in part.lines)]
    record = sheet.record
    lines += ["", "## Routes and places", ""]
    lines += _table(("Condition", *sheet.route), [(one, *[""] * len(sheet.route))
                                                  for one in sheet.conditions])  # fmt: skip
    lines += ["", "## Trials", "", *([record.note, ""] if record.note else [])]
    rows = [
        (str(k), row.name, "; ".join(row.files), *row.times, _covariates(record.covariates), "")
        for k, row in enumerate(record.rows, start=1)
    ]
    lines += _table(record_heads(sheet), rows)
    lines += ["", "## Cautions", "", *(f"- {text}" for text in sheet.cautions), ""]
    return "\n".join(lines)


def record_heads(sheet: SessionSheet) -> tuple[str, ...]:
    """Return the heads of the table of trials."""
    record = sheet.record
    times = (f"{head}, from to" for head in record.times)
    return ("No.", "Trial", "Files", *times, "Values" if record.covariates else "Speed, shoes",
            "Remarks, mounting changes")  # fmt: skip


def _covariates(names: tuple[str, ...]) -> str:
    return " ".join(f"{name}: {BLANK}" for name in names)


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    """Return a table, cells padded so that it reads as it stands."""
    cells = [[text.replace("|", "\\|").replace("\n", " ") for text in row] for row in (head, *rows)]
    widths = [max(3, *(len(row[k]) for row in cells)) for k in range(len(head))]
    shown = [
        "| " + " | ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)) + " |"
        for row in cells
    ]
    return [shown[0], "|" + "|".join("-" * (width + 2) for width in widths) + "|", *shown[1:]]


def write_sheet(sheet: SessionSheet, path: str | Path) -> Path:
    """Write the sheet as PDF (`.pdf`) or Markdown (`.md`, `.txt`); never half of it.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StudyError
        If the name has another ending, is a file of the study, or cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise StudyError(f"--out: {path.name!r} ends in none of {', '.join(SUFFIXES)}.")
    if path.resolve() in {each.resolve() for each in sheet.inputs}:
        raise StudyError(f"--out: {path} is a file of the study; give the sheet another name.")
    if path.is_dir():
        raise StudyError(f"--out: {path} is a folder; give the sheet a file name in it.")
    is_pdf = path.suffix.lower() == ".pdf"
    data = as_pdf(sheet) if is_pdf else as_markdown(sheet).encode("utf-8")
    try:
        _put(path, data)
    except OSError as error:
        raise StudyError(f"--out: {path} cannot be written ({error.strerror}).") from error
    return path


def _put(path: Path, data: bytes) -> None:
    """Write beside the file, then move there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".twinangle-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def as_pdf(sheet: SessionSheet) -> bytes:
    """Return the sheet as PDF/UA-1, typeset as the report is."""
    from twinangle.report.document import typeset  # it loads the drawing of figures

    with tempfile.TemporaryDirectory() as empty:
        try:
            return typeset(page_content(sheet), Path(empty), template=TEMPLATE)
        except RuntimeError as error:
            raise StudyError(f"the sheet: {error}") from error


def page_content(sheet: SessionSheet) -> dict[str, Any]:
    """Return what the template prints: plain words, no markup."""
    record = sheet.record
    return {
        "title": sheet.title,
        "about": sheet.about,
        "fields": [list(field) for field in sheet.fields],
        "parts": [{"title": part.title, "lines": list(part.lines)} for part in sheet.parts],
        "conditions": list(sheet.conditions),
        "route": list(sheet.route),
        "heads": list(record_heads(sheet)),
        "rows": [
            {"name": row.name, "files": list(row.files), "times": list(row.times)}
            for row in record.rows
        ],
        "covariates": list(record.covariates),
        "note": record.note,
        "cautions": list(sheet.cautions),
    }
