"""The report's blocks as HTML, numbered as in the PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping

from twinangle.report.blocks import Block, figure_name
from twinangle.report.web.drawing import Drawings
from twinangle.report.web.markup import element, escaped, phrase

MANY, VERY_MANY = 6, 12  # columns beyond which a table's type is smaller
_BRACKETS = re.compile(r"\([^()]*\)")
SHORT = 14  # rows up to which a printed table stays on one page


class Rendering:
    """Turns blocks into HTML; counts figures and tables through the whole page.

    Parameters
    ----------
    drawings : mapping of str to str
        SVG documents by the figure's name.
    """

    def __init__(self, drawings: Mapping[str, str]) -> None:
        self._drawings = drawings
        self.fitting = Drawings()
        self._figures = 0
        self._tables = 0
        self._heading = ""

    def section(self, title: str, blocks: list[Block]) -> str:
        """Return the HTML of a section's blocks in their order."""
        self._heading = title
        return "\n".join(self._block(block) for block in blocks)

    def _block(self, block: Block) -> str:
        kind = block["kind"]
        if kind == "text":
            return element("p", phrase(block["body"]))
        if kind == "heading":
            self._heading = block["body"]
            return element("h3", phrase(block["body"]))
        if kind == "list":
            return element("ul", "".join(element("li", phrase(each)) for each in block["items"]))
        if kind == "notes":
            inner = "".join(element("p", phrase(each)) for each in block["items"])
            return element("div", inner, class_="notes")
        if kind == "figure":
            return self._figure(block)
        if kind == "row":
            inner = "".join(self._figure(each) for each in block["blocks"])
            return element("div", inner, class_="beside")
        if kind == "table":
            return self._table(block)
        raise ValueError(f"a block of kind {kind!r} has no form in a page")

    def _figure(self, block: Block) -> str:
        """Return a figure, which moves sideways within its frame where the window is narrow."""
        self._figures += 1
        name = f"Figure {self._figures}"
        svg = self._drawings[figure_name(block["path"])]
        drawn = self.fitting.fitted(svg, alternative(block))
        frame = element(
            "div", drawn, class_="frame", role="region", aria_label=f"{name}, drawing", tabindex="0"
        )
        caption = element("figcaption", f"<b>{name}</b> {phrase(block['caption'])}")
        return element("figure", f"{frame}{caption}")

    def _table(self, block: Block) -> str:
        """Return a table in a frame of its own; without a caption it has a name all the same."""
        caption = ""
        name = f"Table: {self._heading}"
        if block["caption"]:
            self._tables += 1
            name = f"Table {self._tables}"
            inner = element("span", f"<b>{name}</b> {phrase(block['caption'])}")
            caption = element("caption", inner)
        head = "".join(
            element("th", phrase(cell), scope="col", class_=_side(k, block["words"]))
            for k, cell in enumerate(block["head"])
        )
        rows = "".join(_row(row, block["words"]) for row in block["rows"])
        body = f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody>"
        table = element("table", f"{caption}{body}", class_=_size(len(block["head"])))
        look = "frame short" if len(block["rows"]) <= SHORT else "frame"
        return element("div", table, class_=look, role="region", aria_label=name, tabindex="0")


def alternative(block: Block) -> str:
    """Return the sentence for those who cannot see a figure.

    It is the block's `alt`, else what the figure is and the first sentence of its caption.
    """
    if block.get("alt"):
        return str(block["alt"])
    first, stop, _ = block["caption"].partition(". ")
    return " ".join(part for part in (block.get("alternative", ""), first + stop.strip()) if part)


def _row(row: list[str], words: int) -> str:
    """Return a row; its first cell names it."""
    cells = []
    for k, cell in enumerate(row):
        named = k == 0 and words > 0 and bool(cell.strip())
        more = {"scope": "row"} if named else {}
        inner = phrase(cell) if k < words else _kept_together(phrase(cell))
        cells.append(element("th" if named else "td", inner, class_=_side(k, words), **more))
    return element("tr", "".join(cells))


def _kept_together(cell: str) -> str:
    """Return a number whose interval, in brackets, never breaks over lines."""
    return _BRACKETS.sub(r"<span>\g<0></span>", cell)


def _side(column: int, words: int) -> str:
    """Return the class of a column's cells: words to the left, numbers to the right."""
    return "w" if column < words else "n"


def _size(columns: int) -> str:
    if columns > VERY_MANY:
        return "smallest"
    return "smaller" if columns > MANY else "usual"


def anchor(number: int) -> str:
    """Return the id of a section, which says nothing of its title: titles hold names."""
    return escaped(f"part-{number}")
