"""How the tables of further forms name a row, and put in words what several rows share."""

from __future__ import annotations

import math
from collections.abc import Iterable

from twinangle.report.blocks import with_interval
from twinangle.report.figures_study import quantity_name
from twinangle.report.wording import NOTHING, number
from twinangle.results import LimitForms, Pooled, Reliability

NAMED = ("Condition", "Procedure", "Quantity")


def names(item: Pooled[LimitForms] | Pooled[Reliability]) -> list[str]:
    """Return the cells under `NAMED`."""
    return [item.condition or NOTHING, item.procedure, quantity_name(item.quantity)]


def where(item: Pooled[LimitForms]) -> str:
    """Return the same in words."""
    parts = (item.condition, item.procedure, quantity_name(item.quantity).lower())
    return ", ".join(part for part in parts if part)


def grouped(lines: Iterable[tuple[str, str]]) -> list[str]:
    """Return each sentence once, with what it is about unless it is about everything."""
    found: dict[str, list[str]] = {}
    everything: set[str] = set()
    for where, line in lines:
        found.setdefault(line, []).append(where)
        everything.add(where)
    return [
        line if set(places) == everything else f"{'; '.join(places)}: {line}"
        for line, places in found.items()
    ]


def with_open_interval(value: float, ends: tuple[float, float]) -> str:
    """Return a number with an interval that may be open at one end."""
    low, high = (math.isfinite(end) for end in ends)
    if low == high:
        return with_interval(value, ends)
    shown = f"from {number(ends[0])}" if low else f"to {number(ends[1])}"
    return f"{number(value)} ({shown})".replace(" ", "\u00a0")
