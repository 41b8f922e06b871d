"""What is told of many files at once: one line for what holds for all of them."""

from __future__ import annotations

from collections.abc import Iterable

MOST = 3  # files that are told of one by one
SHOWN = 2


def grouped(texts: Iterable[str], paths: Iterable[str]) -> tuple[str, ...]:
    """Return texts, those that say the same of more than three files as one.

    Parameters
    ----------
    texts : iterable of str
        Such as "P01/walk.csv: reference".
    paths : iterable of str
        The files that a text may begin with.

    Returns
    -------
    tuple of str
        In the order of the first of each.
    """
    known = set(paths)
    of: dict[tuple[str, str], list[str]] = {}
    for text in texts:
        path, colon, rest = text.partition(": ")
        key = (rest, "") if colon and path in known else ("", text)
        of.setdefault(key, []).append(path)
    found = []
    for (rest, text), several in of.items():
        if text:
            found.append(text)
        elif len(several) <= MOST:
            found += [f"{path}: {rest}" for path in several]
        else:
            first = ", ".join(several[:SHOWN])
            found.append(f"{first} and {len(several) - SHOWN} more files: {rest}")
    return tuple(found)
