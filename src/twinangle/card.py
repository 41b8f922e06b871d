"""How a value shows itself: a few lines at the end of a cell, all of it by `print` or as HTML.

A class that inherits from :class:`Shown` gives one :class:`Card`; its texts and HTML only wrap it,
so that all say the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from html import escape
from typing import Any, TypeVar

T = TypeVar("T")
Row = tuple[str, ...]
WIDTH = 96  # of the text's lines
MOST_LINES = 6
MOST_ROWS = 12  # of a table
MOST_LETTERS = 60  # of a text among a value's fields
_STYLE = (
    "<style>.twinangle{max-width:46em;line-height:1.4}.twinangle table{border-collapse:collapse}"
    ".twinangle th,.twinangle td{text-align:left;padding:.1em .8em .1em 0;vertical-align:top}"
    ".twinangle p{margin:.3em 0}.twinangle svg{max-width:100%}</style>"
)


@dataclass(frozen=True, slots=True)
class Card:
    """What is shown of a value.

    Parameters
    ----------
    title : str
        What it is.
    sentences : tuple of str
        What it says; the short text shows as many as its few lines hold, the whole one and HTML
        all.
    head, rows : tuple
        A small table; in the short text only where there are no sentences.
    sketch : str
        A picture as SVG, for HTML; empty for none.
    behind : tuple of str
        What stands behind a fold in HTML: what the numbers rest on.
    fold : str
        What the fold is called.
    """

    title: str
    sentences: tuple[str, ...] = ()
    head: Row = ()
    rows: tuple[Row, ...] = ()
    sketch: str = ""
    behind: tuple[str, ...] = ()
    fold: str = "What it rests on"

    def text(self) -> str:
        """Return a few lines of plain text."""
        said = list(self.sentences) or [
            ", ".join(": ".join(filter(None, row[:2])) for row in self.rows[:MOST_ROWS])
        ]
        lines = [self.title]
        for sentence in filter(None, said):
            wrapped = textwrap.wrap(
                sentence, WIDTH, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
            )
            left = MOST_LINES - len(lines)
            if len(wrapped) > left:
                short = wrapped[:left]
                if short:
                    short[-1] = f"{short[-1][: WIDTH - 2]} …"
                lines += short
                break
            lines += wrapped
        return "\n".join(lines)

    def whole(self) -> str:
        """Return all of it as plain text: what HTML has, but for the picture."""
        lines = [self.title, *(f"  {sentence}" for sentence in self.sentences if sentence)]
        table = [self.head, *self.rows[:MOST_ROWS]] if any(self.head) else self.rows[:MOST_ROWS]
        n = max(map(len, table), default=0)
        widths = [max((len(row[k]) for row in table if len(row) > k), default=0) for k in range(n)]
        for row in table:
            cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=False))
            lines.append(f"  {'  '.join(cells)}".rstrip())
        if len(self.rows) > MOST_ROWS:
            lines.append(f"  … and {len(self.rows) - MOST_ROWS} more")
        if self.behind:
            lines += [f"  {self.fold}:", *(f"  - {text}" for text in self.behind)]
        return "\n".join(lines)

    def html(self) -> str:
        """Return the same as HTML that stands alone; every text is escaped."""
        parts = [_STYLE, '<div class="twinangle">', f"<p><b>{escape(self.title)}</b></p>"]
        parts += [f"<p>{escape(sentence)}</p>" for sentence in self.sentences]
        parts += [self.sketch, _table(self.head, self.rows)]
        if self.behind:
            items = "".join(f"<li>{escape(text)}</li>" for text in self.behind)
            parts.append(
                f"<details><summary>{escape(self.fold)}</summary><ul>{items}</ul></details>"
            )
        return "".join([*parts, "</div>"])


def _table(head: Row, rows: tuple[Row, ...]) -> str:
    if not rows:
        return ""
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    body = ["".join(f"<td>{escape(cell)}</td>" for cell in row) for row in rows[:MOST_ROWS]]
    more = len(rows) - MOST_ROWS
    if more > 0:
        body.append(f'<td colspan="{len(rows[0])}">… and {more} more</td>')
    lines = "".join(f"<tr>{cells}</tr>" for cells in body)
    above = f"<thead><tr>{top}</tr></thead>" if any(head) else ""
    return f"<table>{above}<tbody>{lines}</tbody></table>"


class Shown:
    """Base of what shows itself in a few lines; a class says more by its own `_card`."""

    __slots__ = ()

    def __init_subclass__(cls) -> None:
        """Keep `dataclass` from writing a repr of its own: it prints every sample."""
        super().__init_subclass__()
        if "__repr__" not in vars(cls):
            cls.__repr__ = Shown.__repr__  # type: ignore[method-assign]

    def _card(self) -> Card:
        """Return what is shown: by default each field, in short."""
        rows = tuple((item.name, short(getattr(self, item.name))) for item in fields(self))  # type: ignore[arg-type]
        return Card(type(self).__name__, head=("field", "value"), rows=rows)

    def __repr__(self) -> str:
        return self._card().text()

    def __str__(self) -> str:
        return self._card().whole()

    def _repr_html_(self) -> str:
        """Return HTML for a notebook."""
        return self._card().html()


class Several(tuple[T, ...]):
    """A tuple of results that shows the first few, a line each, and how many there are."""

    __slots__ = ()

    def _card(self) -> Card:
        rows = tuple((str(k), one_line(each)) for k, each in enumerate(self))
        kind = type(self[0]).__name__ if self else "results"
        return Card(f"{len(self)} × {kind}", head=("", ""), rows=rows)

    def __repr__(self) -> str:
        card = self._card()
        lines = [_cut(f"  [{index}] {text}") for index, text in card.rows[: MOST_LINES - 2]]
        more = len(self) - len(lines)
        return "\n".join([card.title, *lines, *([f"  … and {more} more"] if more else [])])

    def __str__(self) -> str:
        return self._card().whole()

    def _repr_html_(self) -> str:
        """Return HTML for a notebook."""
        return self._card().html()


def _cut(line: str) -> str:
    return line if len(line) <= WIDTH else f"{line[: WIDTH - 2]} …"


def one_line(value: object) -> str:
    """Return a value's title and first sentence on one line."""
    if isinstance(value, Shown):
        card = value._card()
        return " ".join([card.title.removeprefix(f"{type(value).__name__} "), *card.sentences[:1]])
    return short(value)


def short(value: Any) -> str:
    """Return a field's value in a few words: arrays by their shape, results by their kind."""
    if value is None or isinstance(value, bool):
        return str(value)
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str):
        if not value:
            return "none"
        return value if len(value) <= MOST_LETTERS else f"{value[: MOST_LETTERS - 1]}…"
    shape = getattr(value, "shape", None)
    if isinstance(shape, tuple) and shape:
        return f"array of shape {shape}"
    if is_dataclass(value) or isinstance(value, Shown):
        return type(value).__name__
    if isinstance(value, Sequence | dict | set | frozenset):
        return _several_words(value)
    return str(value)


def _several_words(values: Iterable[Any]) -> str:
    held = list(values)
    if not held:
        return "none"
    if len(held) > 4 or not all(isinstance(each, str | int | float) for each in held):
        return f"{len(held)} of them"
    return ", ".join(short(each) for each in held)
