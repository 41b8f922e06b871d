"""Numbers and names as the report, the figures and the tables write them.

Rounded, with a true minus sign.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable

from twinangle.under_test import JOIN

NOTHING = "–"
NO_MARGIN = "no margin was stated"
SD_FREED = "freed of what few cycles and their serial correlation take from it"
SHORTEST_PART = 4  # letters that are left of each part of a name made of several
_ZERO_WIDTH_SPACE = "\u200b"
QUANTITIES = {
    "mean_deg": "Mean over cycle",
    "peak_flexion_deg": "Peak flexion",
    "range_deg": "Range over cycle",
}


def number(value: float | None, decimals: int = 2, *, sign: bool = False) -> str:
    """Return a rounded number, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def stated(value: float) -> str:
    """Return a number that somebody stated, with every decimal of it and at least one."""
    return repr(float(value)).replace("-", "−")


def degrees(value: float | None, *, sign: bool = False) -> str:
    """Return an angle with its unit, to a hundredth of a degree."""
    text = number(value, 2, sign=sign)
    return text if text == NOTHING else f"{text}°"


def between(ends: tuple[float, float] | None, decimals: int = 2) -> str:
    """Return an interval, `0.1 to 0.4`, or a dash where there is none."""
    if ends is None or not all(math.isfinite(end) for end in ends):
        return NOTHING
    return f"{number(ends[0], decimals)} to {number(ends[1], decimals)}"


def span(values: Iterable[float | None], decimals: int = 2) -> str:
    """Return smallest and largest of some numbers in words, or a dash when there are none."""
    known = [value for value in values if value is not None and math.isfinite(value)]
    if not known:
        return NOTHING
    low, high = number(min(known), decimals), number(max(known), decimals)
    return low if low == high else f"{low} to {high}"


def p_value(p: float) -> str:
    """Return a p value to three decimals."""
    return "< 0.001" if p < 0.001 else number(p, 3)


def count(n: int, noun: str, plural: str = "") -> str:
    """Return `1 cycle` or `3 cycles`."""
    shown = f"{n:,}".replace(",", "\u202f") if n >= 10_000 else str(n)
    return f"{shown} {noun if n == 1 else plural or noun + 's'}"


def listing(items: Iterable[str]) -> str:
    """Return `a`, `a and b` or `a, b and c`."""
    words = list(items)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def breakable(text: str, run: int = 24) -> str:
    """Let a long unbroken name wrap: an invisible break after every `run` characters of it."""

    def cut(match: re.Match[str]) -> str:
        word = match.group()
        return _ZERO_WIDTH_SPACE.join(word[i : i + run] for i in range(0, len(word), run))

    return re.sub(rf"\S{{{run + 1},}}", cut, text)


def shortened(text: str, limit: int) -> str:
    """Return a name of at most `limit` characters, for a place that cannot grow.

    Of a name made of several, the longest part is shortened first, so that each is told apart.
    """
    parts = [part.removeprefix("against ") for part in text.split(JOIN)]
    while len(parts) > 1 and len(JOIN.join(parts)) > limit:
        longest = max(range(len(parts)), key=lambda k: len(parts[k]))
        if len(parts[longest]) <= SHORTEST_PART:
            break
        parts[longest] = parts[longest].removesuffix("…")[:-1].rstrip() + "…"
    text = JOIN.join(parts)
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def in_lines(text: str, limit: int) -> str:
    """Return a name in lines of at most `limit` characters: its last part below where needed."""
    parts = [part.removeprefix("against ") for part in text.split(JOIN)]
    if len(JOIN.join(parts)) <= limit or len(parts) < 2:
        return shortened(text, limit)
    return "\n".join(shortened(each, limit) for each in (JOIN.join(parts[:-1]), parts[-1]))


def quantity_name(quantity: str) -> str:
    """Return a quantity's name for headings, without its unit."""
    return QUANTITIES.get(quantity, quantity.removesuffix("_deg").replace("_", " ").capitalize())


def file_name(*parts: str) -> str:
    """Return parts as one plain file name: letters, digits, dot and hyphen, parts by `_`."""
    plain = []
    for part in (each for whole in parts for each in whole.split(JOIN)):
        ascii_part = unicodedata.normalize("NFKD", part).encode("ascii", "ignore").decode()
        cleaned = re.sub(r"[^A-Za-z0-9.-]+", "-", ascii_part).strip("-.")
        plain.append(cleaned[:24])
    return "_".join(part for part in plain if part) or "unnamed"


def unique_names(names: Iterable[str]) -> list[str]:
    """Return the names, a number added where one would repeat (letter case apart)."""
    seen: set[str] = set()
    result = []
    for name in names:
        candidate, turn = name, 2
        while candidate.lower() in seen:
            candidate, turn = f"{name}-{turn}", turn + 1
        seen.add(candidate.lower())
        result.append(candidate)
    return result
