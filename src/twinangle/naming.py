"""Wording shared by messages about names: what was found, what would be accepted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches


def nearest_first(name: str, known: Iterable[str]) -> list[str]:
    """Return the known names, those most like `name` first and the others as they stand."""
    names = list(known)
    folded = {each.casefold(): each for each in reversed(names)}
    close = [folded[text] for text in get_close_matches(name.casefold(), folded, n=3, cutoff=0.5)]
    return close + [each for each in names if each not in close]


def suggestion(name: str, known: Iterable[str]) -> str:
    """Return `` Did you mean 'x'?`` for the known name most like `name`, or nothing."""
    folded = {each.casefold(): each for each in known}
    close = get_close_matches(name.casefold(), folded, n=1, cutoff=0.6)
    return f" Did you mean {folded[close[0]]!r}?" if close else ""


def shown(text: str, most: int = 60) -> str:
    """Return a text from a file in quotation marks, for a message, no longer than a line holds."""
    return repr(text if len(text) <= most else text[: most - 1] + "…")


def listed(names: Iterable[str], *, last: str = "and", most: int = 30) -> str:
    """Return the names quoted and joined as a sentence has them, at most `most` of them."""
    quoted = [shown(name) for name in names]
    if len(quoted) > most:
        quoted = [*quoted[:most], f"{len(quoted) - most} more"]
    if len(quoted) < 2:
        return "".join(quoted) or "nothing"
    return f"{', '.join(quoted[:-1])} {last} {quoted[-1]}"


def holds_a_row(cells: Sequence[str], delimiter: str, n_columns: int) -> bool:
    """Tell whether a cell of a table's row holds, in a line of its own, another whole row.

    Then a quotation mark that was never closed has swallowed it. A remark of several lines has
    fewer separators in a line than the table has between its columns.
    """
    return any(
        line.count(delimiter) >= n_columns - 1
        for cell in cells
        if "\n" in cell or "\r" in cell
        for line in cell.splitlines()[1:]
    )
