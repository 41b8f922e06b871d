"""The building blocks of the report's pages: plain values that the template prints as they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from twinangle.report.wording import NOTHING, between, breakable, number

Block = dict[str, Any]
# name of a figure (its file without suffix) -> (caption, alternative text)
Figures = Mapping[str, tuple[str, str]]


def text(body: str) -> Block:
    """Return a paragraph."""
    return {"kind": "text", "body": body}


def bullets(items: Sequence[str]) -> Block:
    """Return a list."""
    return {"kind": "list", "items": list(items)}


def heading(body: str) -> Block:
    """Return a heading within a section."""
    return {"kind": "heading", "body": body}


def kept_together(*blocks: Block) -> Block:
    """Return blocks that are kept on one page."""
    return {"kind": "group", "blocks": list(blocks)}


def figure(name: str, figures: Figures) -> list[Block]:
    """Return a figure's block, or none when it was not drawn."""
    if name not in figures:
        return []
    caption, alternative = figures[name]
    path = f"/figures/{name}.pdf"
    return [{"kind": "figure", "path": path, "caption": caption, "alternative": alternative}]


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, words: int = 1, caption: str = ""
) -> Block:
    """Return a table whose first `words` columns hold words and the others numbers."""
    return {
        "kind": "table",
        "head": list(head),
        "rows": [[breakable(cell) for cell in row] for row in rows],
        "words": words,
        "caption": caption,
    }


def with_interval(value: float, ends: tuple[float, float], decimals: int = 2) -> str:
    """Return a number and its interval in brackets."""
    inner, shown = between(ends, decimals), number(value, decimals)
    whole = shown if inner == NOTHING else f"{shown} ({inner})"
    return whole.replace(" ", "\u00a0")  # never broken over lines


def without_empty(head: Sequence[str], rows: list[list[str]]) -> tuple[list[str], list[list[str]]]:
    """Drop the columns that hold nothing in any row."""
    filled = [k for k in range(len(head)) if any(row[k] not in ("", NOTHING) for row in rows)]
    return [head[k] for k in filled], [[row[k] for k in filled] for row in rows]
