"""What every result shares: one unrounded row, and rounded words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.card import Card, Shown

if TYPE_CHECKING:
    import pandas as pd

Interval = tuple[float, float]
NO_INTERVAL: Interval = (float("nan"), float("nan"))


def holding(bounds: Interval, value: float) -> Interval:
    """Return the interval, widened to the estimate itself where it missed that; NaN stays."""
    return min(bounds[0], value), max(bounds[1], value)


class Result(Shown):
    """Base of the results: a row of unrounded numbers and the sentences they rest on."""

    __slots__ = ()

    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        raise NotImplementedError

    def _card(self) -> Card:
        """Show the sentence, the numbers with their intervals, and what they rest on."""
        return Card(
            type(self).__name__,
            (self.summary(),),
            ("", "", "interval"),
            tuple(_rows(self)),
            self._sketch(),
            self.assumptions,
        )

    def _sketch(self) -> str:
        """Return a small picture as SVG; none by default."""
        return ""

    def to_frame(self) -> pd.DataFrame:
        """Return one row, unrounded: every number and name, an interval as two columns.

        Curves and notes are left to the attributes; `x_ci` becomes `x_ci_low` and `x_ci_high`.
        """
        import pandas as pd

        row: dict[str, Any] = {}
        for item in fields(self):  # type: ignore[arg-type]
            value = getattr(self, item.name)
            if item.name.endswith("_ci"):
                row[f"{item.name}_low"], row[f"{item.name}_high"] = value
            elif isinstance(value, str | int | float):
                row[item.name] = value
        return pd.DataFrame([row])


def _rows(result: Result) -> Iterator[tuple[str, str, str]]:
    """Yield each number with its interval, rounded."""
    for item in fields(result):  # type: ignore[arg-type]
        value, ends = getattr(result, item.name), getattr(result, f"{item.name}_ci", None)
        if isinstance(value, int | float) and not isinstance(value, bool):
            given = ends is not None and bool(np.all(np.isfinite(ends)))
            between = f"{_shown(ends[0])} to {_shown(ends[1])}" if ends is not None else ""
            yield item.name, _shown(value), between if given else ""


def _shown(value: float) -> str:
    if isinstance(value, int):
        return str(value)
    return f"{value:.4g}".replace("-", "−") if np.isfinite(value) else "not defined"


def counted(n: int, noun: str) -> str:
    """Return a count with its noun: `1 cycle`, `2 cycles`."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def spaced(unit: str) -> str:
    """Return a unit as it follows a number: ` mm`, but `°` and `%` at once."""
    return unit if unit in ("", "°", "%") else f" {unit}"


def quantity(value: float, unit: str) -> str:
    """Return a rounded number with its unit: `1.23 mm`, `1.23°`, or `not defined`."""
    if not np.isfinite(value):
        return "not defined"
    return f"{_rounded(value)}{spaced(unit)}"


def interval(limits: Interval, unit: str, confidence: float) -> str:
    """Return a rounded interval in words, or that there is none."""
    if not np.all(np.isfinite(limits)):
        return "no interval"
    low, high = (_rounded(bound) for bound in limits)
    return f"{100 * confidence:g} % CI {low} to {high}{spaced(unit)}"


def _rounded(value: float) -> str:
    """Return two decimals below 100 and one above, with a true minus sign."""
    text = f"{value:.2f}" if abs(value) < 100 else f"{value:.1f}"
    return text.replace("-", "−") if float(text) != 0 else text.replace("-", "")


def p_words(p_value: float) -> str:
    """Return a p value in words: three decimals, or `p < 0.001`."""
    return "p < 0.001" if p_value < 0.001 else f"p = {p_value:.3f}"
