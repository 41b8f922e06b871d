"""Where figures go: folders, widths, formats and names, and the captions that lie beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import MM, rendered
from twinangle.report.typesetting import in_child
from twinangle.wording import unique_names

CHILD = Path(__file__).with_name("figure_child.py")
EMBEDDED = "svg"  # what report and supplement take in: PDF/UA takes no pages of other PDF files


@dataclass(frozen=True, slots=True)
class Written:
    """A figure that lies in a folder, and its words."""

    file: str  # as it lies there, without suffix
    name: str  # as it is to be called
    caption: str
    alternative: str
    width_mm: float

    def files(self, formats: Iterable[str]) -> list[str]:
        """Return the names of its files."""
        return [f"{self.file}.{suffix}" for suffix in formats]


@dataclass(frozen=True, slots=True)
class Place:
    """A folder for the figures over all trials, and how they are made for it.

    Attributes
    ----------
    folder : Path
        An existing folder.
    formats : tuple of str
        Of "pdf", "svg", "png" and "tiff".
    width_mm : float, optional
        In print; None is the width a figure has in the report: one column of a page, or both.
    dpi : int
        Of png and tiff.
    for_paper : bool
        Whether only the figures lie here that an article shows, under names with their width.
    """

    folder: Path
    formats: tuple[str, ...]
    width_mm: float | None = None
    dpi: int = 300
    for_paper: bool = False


class Rendered:
    """One drawn figure, rendered once in each format whatever the number of files."""

    def __init__(self, drawn: Drawn) -> None:
        self.drawn = drawn
        self._held: dict[tuple[str, int], bytes] = {}
        self.pdf_files: dict[int, list[Path]] = {}  # by dots an inch: what waits to be written

    def write(self, folder: Path, file: str, formats: Iterable[str], dpi: int = 300) -> Written:
        """Write the figure to `folder`/`file` in each format, and return its words.

        PDF files wait for :func:`write_pdfs`.
        """
        drawn = self.drawn
        for suffix in formats:
            path = folder / f"{file}.{suffix}"
            if suffix == "pdf":
                self.pdf_files.setdefault(dpi, []).append(path)
            else:
                path.write_bytes(self.rendered(suffix, dpi))
        width = float(drawn.figure.get_size_inches()[0]) / MM
        return Written(file, drawn.name, drawn.caption, drawn.alternative, width)

    def rendered(self, suffix: str, dpi: int) -> bytes:
        """Return the figure in a format other than PDF."""
        key, drawn = (suffix, dpi), self.drawn
        if key not in self._held:
            self._held[key] = rendered(drawn.figure, suffix, dpi=dpi, title=drawn.alternative)
        return self._held[key]


def write_pdfs(figures: Iterable[Rendered]) -> None:
    """Write the PDF files that wait: from the SVG of each, by one child process for all.

    Raises
    ------
    RuntimeError
        If one cannot be made; with the typesetter's words.
    """
    waiting = [
        {
            "drawing": each.rendered("svg", dpi).decode(),
            "words": each.drawn.alternative,
            "files": [str(path) for path in paths],
        }
        for each in figures
        for dpi, paths in each.pdf_files.items()
    ]
    if not waiting:
        return
    in_child(CHILD, (), waiting, what="figures could not be written as PDF")


def with_names(pooled: Sequence[Written], place: Place) -> list[Written]:
    """Give the figures of a place their names, which must not repeat over all of them."""
    names = unique_names(each.name for each in pooled)
    found = []
    for each, name in zip(pooled, names, strict=True):
        file = f"{name}_{_millimetres(each.width_mm)}" if place.for_paper else name
        for suffix in place.formats:
            (place.folder / f"{each.file}.{suffix}").replace(place.folder / f"{file}.{suffix}")
        found.append(Written(file, name, each.caption, each.alternative, each.width_mm))
    return found


def _millimetres(width: float) -> str:
    return f"{round(width, 1):g}mm".replace(".", "p")


def drawings_in(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the figures' drawings, by name, for the page that holds them."""
    return {name: (folder / f"{name}.{EMBEDDED}").read_text(encoding="utf-8") for name in names}


def captions_document(written: Iterable[Written]) -> str:
    """Return the captions of an article's figures, each with its files and its alternative text."""
    files: dict[str, list[str]] = {}
    words: dict[str, Written] = {}
    for each in written:
        files.setdefault(each.name, []).append(f"`{each.file}`")
        words[each.name] = each
    lead = (
        "# Captions\n\nEach file is drawn for print at the width in its name, in mm, and is not to "
        "be scaled. Below each caption: what to say to readers who cannot see the figure."
    )
    parts = [
        f"**{name}** ({', '.join(files[name])})\n\n{each.caption}\n\n*{each.alternative}*"
        for name, each in words.items()
    ]
    return "\n\n".join([lead, *parts]) + "\n"
