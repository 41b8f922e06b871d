"""The paper kit as files: figures, tables, texts and checklists in one folder."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from twinangle.artwork import Artwork
from twinangle.parallel import Workers
from twinangle.report.figure_files import Place
from twinangle.report.paper.bibliography import as_bibtex
from twinangle.report.paper.checklists import checklist_files
from twinangle.report.paper.latex import as_latex
from twinangle.report.paper.table_csv import as_csv
from twinangle.report.paper.tables import PaperTable, paper_tables
from twinangle.report.paper.texts import methods_document, results_document
from twinangle.report.paper.word import as_docx
from twinangle.results import StudyResults

PAPER = "paper"


def paper_places(folder: Path, artwork: Artwork) -> list[Place]:
    """Return where the figures for an article go, in a folder that is made for them.

    Unless widths were asked for, each has the width it has in the report, so that nothing is
    drawn twice.
    """
    figures = folder / "figures"
    figures.mkdir(parents=True, exist_ok=True)
    return [
        Place(figures, artwork.formats, width, artwork.dpi, for_paper=True)
        for width in artwork.widths_mm or (None,)
    ]


def begin_paper(results: StudyResults, folder: Path, workers: Workers) -> Iterator[None]:
    """Write the kit's texts into an existing folder, and begin its tables.

    Whoever exhausts what is returned waits for the tables; a fault of them is raised there.
    """
    tables, checklists = (folder / name for name in ("tables", "checklists"))
    for each in (tables, checklists):
        each.mkdir(parents=True, exist_ok=True)
    methods, works = methods_document(results)
    texts = {
        folder / "methods.md": methods,
        folder / "results.md": results_document(results),
        folder / "references.bib": as_bibtex(works),
        **{checklists / name: text for name, text in checklist_files(results).items()},
    }
    for path, text in texts.items():
        _write(path, text)
    return workers.in_order(partial(_write_tables, results.title, paper_tables(results)), [tables])


def _write(path: Path, text: str) -> None:
    """Write a text; in Markdown, nothing of a name is taken for a tag."""
    shown = text.replace("<", "\\<") if path.suffix == ".md" else text
    path.write_text(shown, encoding="utf-8", newline="\n")


def _write_tables(title: str, tables: tuple[PaperTable, ...], folder: Path) -> None:
    """Write every table in its three formats, and what stands above and below each."""
    notes = ["# Tables"]
    for number, table in enumerate(tables, start=1):
        for suffix, text in (("csv", as_csv(table)), ("tex", as_latex(table))):
            path = folder / f"{table.name}.{suffix}"
            path.write_text(text, encoding="utf-8", newline="\n")
        notes += [f"**{number}. {table.title}** (`{table.name}`)", *table.notes]
    _write(folder / "notes.md", "\n\n".join(notes) + "\n")
    (folder / "tables.docx").write_bytes(as_docx(title, tables))
