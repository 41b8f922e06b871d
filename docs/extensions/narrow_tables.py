"""Tables of words on a narrow screen: each cell is told which heading it stands under.

The style sheet then puts the cells of a row under each other, each with its heading before it. A
table of numbers stays a table and scrolls.
"""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # tests import this without the site's packages
    from sphinx.application import Sphinx

TABLE = re.compile(r'<table class="([^"]*\bdocutils\b[^"]*)">(.*?)</table>', re.DOTALL)
ROW = re.compile(r"<tr[ >].*?</tr>", re.DOTALL)
HEAD = re.compile(r"<th [^>]*>(.*?)</th>", re.DOTALL)
CELL = re.compile(r"<td([^>]*)>(.*?)</td>", re.DOTALL)
FEWEST_LETTERS = 25  # in a last cell, for it to be words that a narrow column would break up


def _plain(text: str) -> str:
    return html.unescape(re.sub(r"<[^>]*>", "", text)).strip()


def stacked(match: re.Match[str]) -> str:
    """Return a table of words with the heading beside each cell; another as it is."""
    classes, inner = match.groups()
    rows = [CELL.findall(row) for row in ROW.findall(inner)]
    longest = max((len(_plain(cells[-1][1])) for cells in rows if len(cells) > 1), default=0)
    if "span=" in inner or "<table" in inner or longest < FEWEST_LETTERS:
        return match[0]
    heads = [_plain(head) for head in HEAD.findall(inner.partition("</thead>")[0])]

    def row_with_heads(row: re.Match[str]) -> str:
        places = iter(range(len(row[0])))

        def cell_with_head(cell: re.Match[str]) -> str:
            place = next(places)
            head = heads[place] if 0 < place < len(heads) else ""
            if not _plain(cell[2]) and "<img" not in cell[2]:
                return f'<td{cell[1]} data-empty="">{cell[2]}</td>'
            said = f' data-head="{html.escape(head, quote=True)}"' if head else ""
            return f"<td{cell[1]}{said}>{cell[2]}</td>"

        return CELL.sub(cell_with_head, row[0])

    return f'<table class="{classes} stacks">{ROW.sub(row_with_heads, inner)}</table>'


def _stack(app: Sphinx, page: str, template: str, context: dict[str, Any], tree: object) -> None:
    if "body" in context:
        context["body"] = TABLE.sub(stacked, context["body"])


def setup(app: Sphinx) -> dict[str, bool]:
    """Register what is done to each page before it is written."""
    app.connect("html-page-context", _stack)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
