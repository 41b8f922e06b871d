"""All of a paper's tables as one DOCX document, with the same bytes each time."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from copy import deepcopy
from datetime import datetime
from typing import Any

from twinangle.report.paper.tables import PaperTable

# Office Open XML stores a date of making, and so does its archive: none of ours is one.
DATE = datetime(1980, 1, 1)
POINTS = 8
_THIN, _THICK = "4", "8"  # eighths of a point


def as_docx(title: str, tables: Sequence[PaperTable]) -> bytes:
    """Return the document: each table with its title above and its notes below."""
    from docx import Document
    from docx.enum.section import WD_ORIENT

    document = Document()
    page = document.sections[0]
    page.orientation = WD_ORIENT.LANDSCAPE
    page.page_width, page.page_height = page.page_height, page.page_width
    for number, table in enumerate(tables, start=1):
        _paragraph(document, f"Table {number}. {table.title}", bold=True).keep_with_next = True
        _add_table(document, table)
        for note in table.notes:
            _paragraph(document, note)
        document.add_paragraph()
    _properties(document, title)
    held = io.BytesIO()
    document.save(held)
    return with_fixed_dates(held.getvalue())


def _properties(document: Any, title: str) -> None:
    """Say what the document is, and nothing of when or by whom it was made."""
    said = document.core_properties
    said.title, said.author, said.last_modified_by = title[:255], "", ""
    said.comments, said.subject, said.keywords = "", "", ""
    said.created = said.modified = DATE
    said.revision = 1


def _paragraph(document: Any, text: str, *, bold: bool = False) -> Any:
    """Add a paragraph and return its format."""
    from docx.shared import Pt

    paragraph = document.add_paragraph()
    run = paragraph.add_run(text)
    run.bold = bold
    run.font.size = Pt(POINTS + 1 if bold else POINTS)
    paragraph.paragraph_format.space_after = Pt(2)
    return paragraph.paragraph_format


def _add_table(document: Any, table: PaperTable) -> None:
    """Add the table: rules above, below the head, and at the foot; numbers to the right."""
    shown = document.add_table(rows=2, cols=len(table.head))
    for row, bold in zip(shown.rows, (True, False), strict=True):
        for j, cell in enumerate(row.cells):
            _shape(cell, bold=bold, right=j >= table.words)
    # Shaping a cell takes far longer than copying it: all rows are copies of the first.
    pattern = shown.rows[1]._tr
    for _ in table.rows[1:]:
        shown._tbl.append(deepcopy(pattern))
    for row, texts in zip(shown._tbl.tr_lst, (table.head, *table.rows), strict=True):
        for cell, text in zip(row.tc_lst, texts, strict=True):
            cell.p_lst[0].r_lst[0].text = text
    first, last = shown.rows[0], shown.rows[-1]
    _mark_as_head(first)
    _rule(first, "top", _THICK)
    _rule(first, "bottom", _THIN)
    _rule(last, "bottom", _THICK)


def _shape(cell: Any, *, bold: bool, right: bool) -> None:
    """Give an empty cell the one run that its text goes to."""
    from docx.enum.text import WD_ALIGN_PARAGRAPH
    from docx.shared import Pt

    paragraph = cell.paragraphs[0]
    run = paragraph.add_run()
    run.bold = bold
    run.font.size = Pt(POINTS)
    paragraph.paragraph_format.space_after = Pt(0)
    if right:
        paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT


def _mark_as_head(row: Any) -> None:
    """Repeat the row on every page, and let a screen reader know it as the head."""
    from docx.oxml import OxmlElement

    row._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))


def _rule(row: Any, side: str, size: str) -> None:
    """Draw a rule along a row."""
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn

    for cell in row.cells:
        properties = cell._tc.get_or_add_tcPr()
        borders = properties.find(qn("w:tcBorders"))
        if borders is None:
            borders = OxmlElement("w:tcBorders")
            properties.append(borders)
        rule = OxmlElement(f"w:{side}")
        for name, value in (("val", "single"), ("sz", size), ("space", "0"), ("color", "auto")):
            rule.set(qn(f"w:{name}"), value)
        borders.append(rule)


def with_fixed_dates(archive: bytes) -> bytes:
    """Return an archive with every date the same, in the order of its names."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(held, "w") as new:
        for name in old.namelist():
            entry = zipfile.ZipInfo(name, DATE.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # the same on every system
            entry.external_attr = 0o600 << 16
            new.writestr(entry, old.read(name))
    return held.getvalue()
