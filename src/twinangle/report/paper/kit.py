"""The paper kit as files: figures, tables, texts and checklists in one folder."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from twinangle.artwork import Artwork
from twinangle.parallel import Workers
from twinangle.report.paper.bibliography import as_bibtex
from twinangle.report.paper.checklists import checklist_files
from twinangle.report.paper.delimited import as_csv
from twinangle.report.paper.figures import Drawn, begin_figures, finish_figures
from twinangle.report.paper.latex import as_latex
from twinangle.report.paper.tables import PaperTable, paper_tables
from twinangle.report.paper.texts import methods_document, results_document
from twinangle.report.paper.word import as_docx
from twinangle.results import StudyResults

PAPER = "paper"


@dataclass(frozen=True, slots=True)
class Begun:
    """What other processes are at work on."""

    figures: Drawn
    tables: Iterator[None]


def begin_paper(results: StudyResults, folder: Path, workers: Workers, artwork: Artwork) -> Begun:
    """Write the paper kit's texts into an existing folder, and begin its figures and tables."""
    figures, tables, checklists = (folder / n for n in ("figures", "tables", "checklists"))
    for each in (figures, tables, checklists):
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
    return Begun(
        begin_figures(results, figures, workers, artwork),
        workers.in_order(partial(_write_tables, results.title, paper_tables(results)), [tables]),
    )


def finish_paper(begun: Begun, folder: Path) -> None:
    """Wait for what was begun; a fault of it is raised here."""
    finish_figures(begun.figures, folder / "figures")
    list(begun.tables)


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
