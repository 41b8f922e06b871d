"""Identifiers that differ in spelling alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

KEPT = re.compile(r"[^\W_]+|\0")


def folded(text: str) -> str:
    """Return a name without case, separators and zeros that lead a number.

    What parts two numbers stays: P1-1 is not P11.
    """
    marked = re.sub(r"(?<=\d)[\W_]+(?=\d)", "\0", text.casefold())
    bare = "".join(KEPT.findall(marked))
    return re.sub(r"(?<!\d)0+(?=\d)", "", bare)


def folded_words(text: str) -> str:
    """Return a name in words without case, separators, leading zeros and the s of a plural.

    "Indoors", "in-door" and "indoor" are one; a word of fewer than four letters keeps its s.
    """
    singular = re.sub(r"(?<=[^\W\d_]{3})s(?=$|[\W\d_])", "", text.casefold())
    return folded(singular)


def likely_same(
    names: Iterable[tuple[int, str]], fold: Callable[[str], str] = folded
) -> Iterator[tuple[int, str, int, str]]:
    """Yield pairs of names, with their rows, that are the same but for their spelling.

    Parameters
    ----------
    names : iterable of (int, str)
        With their rows.
    fold : callable
        What leaves of a name no more than its spelling may not change: codes by `folded`, words
        by `folded_words`.
    """
    first: dict[str, tuple[int, str]] = {}
    told = set()
    for row, name in names:
        key = fold(name)
        before, known = first.setdefault(key, (row, name))
        if known != name and key and name not in told:
            told.add(name)
            yield before, known, row, name
