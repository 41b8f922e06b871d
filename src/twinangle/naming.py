"""Wording shared by messages about names: what was found, what would be accepted."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches

MOST_ROWS = 3  # rows whose faults are told one by one
_OF_A_ROW = re.compile(r"(?P<table>.+?), row (?P<row>\d+)(?P<rest>[:,] .*)", re.DOTALL)
_VARIED = re.compile(r"(?<=[:,] )\S+\.[A-Za-z]\w*(?=:)|-?\d+(?:\.\d+)?")  # files and numbers


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


def rows_named(rows: Iterable[int]) -> str:
    """Return `row 4`, or `rows 2 to 5, 7 and 9 (6 rows)`, all of them however many."""
    numbers = sorted(set(rows))
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    words: list[str] = []
    for span in spans:
        words += [f"{span[0]} to {span[-1]}"] if len(span) > 2 else list(map(str, span))
    if len(numbers) == 1:
        return f"row {words[0]}"
    joined = f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]
    return f"rows {joined} ({len(numbers)} rows)"


def rows_gathered(texts: Iterable[str], *, numbers_apart: bool = True) -> list[str]:
    """Return faults, those that say the same of more than three rows of a table as one.

    Parameters
    ----------
    texts : iterable of str
        Such as "trials.csv, row 2, column 'side': is empty."; others stay as they are.
    numbers_apart : bool
        Whether texts are others where their numbers or the file they begin with are; if not, the
        first of them stands for all.

    Returns
    -------
    list of str
        In the order of the first of each.
    """
    rows: dict[tuple[str, str], list[int]] = {}
    of: list[tuple[str, re.Match[str] | None, tuple[str, str]]] = []
    for text in texts:
        match = _OF_A_ROW.fullmatch(text)
        rest = match["rest"] if match else text
        key = (match["table"] if match else "", rest if numbers_apart else _VARIED.sub("#", rest))
        of.append((text, match, key))
        if match:
            rows.setdefault(key, []).append(int(match["row"]))
    found: dict[str | tuple[str, str], str] = {}
    for text, match, key in of:
        if match and len(set(rows[key])) > MOST_ROWS:
            row = "" if numbers_apart else f"; the first of them, row {match['row']}"
            where = f"{key[0]}, {rows_named(rows[key])}{row}"
            found.setdefault(key, f"{where}{match['rest']}")
        else:
            found[text] = text
    return list(found.values())
