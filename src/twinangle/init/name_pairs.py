"""Which file belongs to which, by what their names differ in."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

Difference = tuple[str, str]


def difference(first: str, second: str) -> Difference:
    """Return what is left of two names without their common beginning and end."""
    start = _common(first, second)
    rest = first[start:], second[start:]
    end = _common(rest[0][::-1], rest[1][::-1])
    return rest[0][: len(rest[0]) - end], rest[1][: len(rest[1]) - end]


def _common(first: str, second: str) -> int:
    """Return the length of the common beginning."""
    n = 0
    for one, other in zip(first, second, strict=False):
        if one != other:
            break
        n += 1
    return n


def pair_names(first: Sequence[str], second: Sequence[str]) -> dict[str, str]:
    """Return for names of one kind those of the other that belong to them.

    What two names differ in has to be the same for every pair and to hold no number (numbers tell
    people and trials apart). One name of each kind is a pair whatever it differs in; otherwise a
    difference that occurs once proves nothing.
    """
    if len(first) == len(second) == 1:
        return {first[0]: second[0]}
    found: dict[Difference, dict[str, str]] = {}
    for one in first:
        for other in second:
            what = difference(_stem(one), _stem(other))
            if not any(re.search(r"\d", part) for part in what):
                found.setdefault(what, {})[one] = other
    counts = Counter({what: len(pairs) for what, pairs in found.items()})
    best = counts.most_common(2)
    if not best or best[0][1] < 2 or (len(best) > 1 and best[1][1] == best[0][1]):
        return {}
    pairs = found[best[0][0]]
    return pairs if len(set(pairs.values())) == len(pairs) else {}


def split_in_pairs(names: Sequence[str]) -> dict[str, str]:
    """Return the pairs within names of one kind; the first of each is the plainer name."""
    if len(names) == 2:
        return {names[0]: names[1]}
    found: dict[Difference, dict[str, str]] = {}
    for place, one in enumerate(names):
        for other in names[place + 1 :]:
            what = difference(_stem(one), _stem(other))
            if not any(re.search(r"\d", part) for part in what):
                plain = what <= what[::-1]
                pairs = found.setdefault(what if plain else what[::-1], {})
                pairs[one if plain else other] = other if plain else one
    whole = [
        pairs
        for pairs in found.values()
        if 2 * len(pairs) == len(names) == len({*pairs, *pairs.values()})
    ]
    return whole[0] if len(whole) == 1 else {}


def _stem(name: str) -> str:
    return name.rpartition(".")[0] or name
