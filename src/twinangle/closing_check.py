"""What `check` prints: each recording as it is read, then what was found, alike rows together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from twinangle.analysis.checking import TrialCheck
from twinangle.naming import MOST_ROWS, rows_named
from twinangle.notices import GRAVITIES, OTHER, gravity_of, kind_of, size_of

HEADS = {"note": "Note", "warning": "Warning", "grave": "Look at this first"}


def check_lines(found: TrialCheck, *, every_row: bool = False) -> list[str]:
    """Return what `check` prints of one recording; its faults are told at the end, together.

    Unless `every_row`, so are warnings and notes.
    """
    lines = [f"{found.label} (row {found.row})"]
    lines += [f"  {file.role:10}{file.summary()}" for file in found.files]
    lines += [f"  {'together':10}{found.overlap}"] if found.overlap else []
    lines += [f"  {'fault':10}see below"] if found.faults else []
    for text in found.warnings if every_row else ():
        lines.append(f"  {'note' if gravity_of(text) == 'note' else 'warning':10}{text}")
    return lines


def gathered_lines(checks: Iterable[TrialCheck]) -> Iterator[str]:
    """Yield warnings and notes on recordings, one line for what holds for several rows.

    Parameters
    ----------
    checks : iterable of TrialCheck
        As `check` found them.

    Yields
    ------
    str
        The gravest first. Of texts of one kind that differ in their numbers, and are on more than
        three rows, the worst stands for all.
    """
    told: dict[tuple[str, str], dict[str, list[TrialCheck]]] = {}
    for one in checks:
        for text in one.warnings:
            kind = kind_of(text)
            key = (kind, str(text) if kind == OTHER else gravity_of(text))
            told.setdefault(key, {}).setdefault(text, []).append(one)
    groups = sorted(told.values(), key=lambda texts: -max(map(_gravity, texts)))
    for texts in groups:
        yield from _lines_of_a_kind(texts)


def _lines_of_a_kind(texts: dict[str, list[TrialCheck]]) -> Iterator[str]:
    n_rows = len({one.row for checks in texts.values() for one in checks})
    if len(texts) == 1 or n_rows <= MOST_ROWS:
        for text, checks in texts.items():
            yield f"{HEADS[gravity_of(text)]}, {_where(checks)}: {text}"
        return
    worst = max(texts, key=lambda text: (_gravity(text), _size(text)))
    every = [one for checks in texts.values() for one in checks]
    sized = any(not math.isnan(size_of(text)) for text in texts)
    first = "the worst of them" if sized else "the first of them"
    yield (
        f"{HEADS[gravity_of(worst)]}, {_where(every)}; {first}, {_where(texts[worst])}: {worst} "
        "(`--every-row` prints all.)"
    )


def _where(checks: Sequence[TrialCheck]) -> str:
    """Return the recording's name and row, or the rows of several."""
    labels = list(dict.fromkeys(one.label for one in checks))
    rows = rows_named(one.row for one in checks)
    return f"{labels[0]} ({rows})" if len(labels) == 1 else rows


def _gravity(text: str) -> int:
    return GRAVITIES.index(gravity_of(text))


def _size(text: str) -> float:
    size = size_of(text)
    return -math.inf if math.isnan(size) else size
