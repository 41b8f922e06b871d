"""The building blocks of the report's pages: plain values that the template prints as they are."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from twinangle.results import Pooled
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import NOTHING, between, breakable, number, quantity_name

Block = dict[str, Any]
Found = TypeVar("Found")
# name of a figure (its file without suffix) -> (caption, alternative text)
Figures = Mapping[str, tuple[str, str]]
NAMED = ("Condition", "Procedure", "Quantity")


def text(body: str) -> Block:
    """Return a paragraph."""
    return {"kind": "text", "body": body}


def bullets(items: Sequence[str]) -> Block:
    """Return a list."""
    return {"kind": "list", "items": list(items)}


def heading(body: str) -> Block:
    """Return a heading within a section."""
    return {"kind": "heading", "body": body}


def figure(name: str, figures: Figures) -> list[Block]:
    """Return a figure's block, or none when it was not drawn."""
    if name not in figures:
        return []
    caption, alternative = figures[name]
    path = f"/figures/{name}.svg"
    return [{"kind": "figure", "path": path, "caption": caption, "alternative": alternative}]


def figures_named(figures: Figures, start: str) -> list[Block]:
    """Return the blocks of all figures whose name starts so."""
    return [block for name in figures if name.startswith(start) for block in figure(name, figures)]


def figures_beside(names: Sequence[str], figures: Figures) -> list[Block]:
    """Return figures of one column's width side by side, or none where none was drawn."""
    found = [block for name in names for block in figure(name, figures)]
    return [{"kind": "row", "blocks": found}] if found else []


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its head, and the words of the caption that say what it is."""

    head: str
    says: str = ""


def described(
    lead: str,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    *,
    words: int,
    end: str = "",
) -> list[Block]:
    """Return a table of the columns that hold something, and none without rows.

    Its caption is `lead`, then what each of these columns is, then `end`.
    """
    if not rows:
        return []
    filled = [k for k in range(len(columns)) if any(row[k] not in ("", NOTHING) for row in rows)]
    said = "; ".join(columns[k].says for k in filled if columns[k].says)
    said = f"{said[:1].upper()}{said[1:]}." if said else ""
    return [
        table(
            [columns[k].head for k in filled],
            [[row[k] for k in filled] for row in rows],
            words=sum(k < words for k in filled),
            caption=" ".join(part for part in (lead, said, end) if part),
        )
    ]


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
    """Return a number and its interval in brackets.

    A missing number keeps an interval that says how large it may be, not one of no width.
    """
    inner, shown = between(ends, decimals), number(value, decimals)
    if shown == NOTHING and number(ends[0], decimals) == number(ends[1], decimals):
        return NOTHING
    whole = shown if inner == NOTHING else f"{shown} ({inner})"
    return whole.replace(" ", "\u00a0")  # never broken over lines


def added_sd(value: float, ends: tuple[float, float]) -> str:
    """Return the SD that one instrument adds: none, at most, or a number with its interval."""
    if math.isfinite(value) or not all(map(math.isfinite, ends)):
        return with_interval(value, ends)
    return f"at\u00a0most\u00a0{number(ends[1])}" if ends[1] > 0.005 else "none"


def with_open_interval(value: float, ends: tuple[float, float]) -> str:
    """Return a number with an interval that may be open at one end."""
    low, high = (math.isfinite(end) for end in ends)
    if low == high:
        return with_interval(value, ends)
    shown = f"from {number(ends[0])}" if low else f"to {number(ends[1])}"
    return f"{number(value)} ({shown})".replace(" ", "\u00a0")


def scaled_cells(
    values: Mapping[str, Any], columns: Mapping[str, tuple[str, int, float]]
) -> list[str]:
    """Return the numbers of some columns, scaled and rounded; a dash where there is none."""
    found = []
    for key, (_, decimals, scale) in columns.items():
        value = values.get(key)
        found.append(NOTHING if value is None else number(scale * float(value), decimals))
    return found


def named_cells(item: Pooled[Any]) -> list[str]:
    """Return the cells under `NAMED`."""
    return [item.condition or NOTHING, item.procedure, quantity_name(item.quantity)]


Named = tuple[tuple[str, str, str], Found]


def against_one(found: Sequence[Named[Found]], reference: str) -> list[Named[Found]]:
    """Return what is against one reference; everything where none is given.

    What all rows share, and the caption says, is left out of the names: the reference, and the
    condition where there is but one.
    """
    if not reference:
        return list(found)
    own = [(key, value) for key, value in found if reference_of(key[0]) == reference]
    several = len({key[1] for key, _ in own}) > 1
    return [
        ((under_test(wearable_of(name), procedure_of(name)), condition * several, quantity), value)
        for (name, condition, quantity), value in own
    ]


def named_in_words(item: Pooled[Any]) -> str:
    """Return the same in words."""
    parts = (item.condition, item.procedure, quantity_name(item.quantity).lower())
    return ", ".join(part for part in parts if part)


def grouped(lines: Iterable[tuple[str, str]], everything: Iterable[str] = ()) -> list[str]:
    """Return each sentence once, with what it is about unless it is about everything.

    Everything is what any of the lines is about, and what is named besides.
    """
    found: dict[str, list[str]] = {}
    all_of_it = set(everything)
    for where, line in lines:
        found.setdefault(line, []).append(where)
        all_of_it.add(where)
    return [
        line if set(places) == all_of_it else f"{'; '.join(places)}: {line}"
        for line, places in found.items()
    ]


def figures_of(part: object) -> list[str]:
    """Return the paths of all figures in a part of what is printed, in order."""
    if isinstance(part, dict):
        found = [str(part["path"])] if part.get("kind") == "figure" else []
        return [*found, *(path for each in part.values() for path in figures_of(each))]
    if isinstance(part, list):
        return [path for each in part for path in figures_of(each)]
    return []


def figure_name(path: str) -> str:
    """Return the name of the figure at a path that stands in a block."""
    return path.removeprefix("/figures/").removesuffix(".svg")
