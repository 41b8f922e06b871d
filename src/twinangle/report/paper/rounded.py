"""Numbers as a paper prints them: rounded to what their uncertainty supports."""

from __future__ import annotations

import math

from twinangle.results.tables.printing import printed_interval, printed_number
from twinangle.wording import NOTHING

Ends = tuple[float, float]


def proper(text: str) -> str:
    """Return a number with a true minus sign, or a dash where there is none."""
    return text.replace("-", "−") or NOTHING


def alone(value: float | None, unit: str = "deg") -> str:
    """Return a number that has no interval."""
    return NOTHING if value is None else proper(printed_number(float(value), unit))


def with_ends(value: float | None, ends: Ends, unit: str = "deg", mark: str = "") -> str:
    """Return a number with its interval in brackets, both rounded by the interval's width.

    `mark` follows each number at once, such as "°".
    """
    if value is None:
        return NOTHING
    texts = printed_interval(float(value), *ends)
    if texts is None:
        shown = alone(value, unit)
        return shown if shown == NOTHING else f"{shown}{mark}"
    shown, low, high = (f"{proper(text)}{mark}" for text in texts)
    if math.isfinite(ends[0]) and math.isfinite(ends[1]):
        return f"{shown} ({low} to {high})"
    return f"{shown} (from {low})" if math.isfinite(ends[0]) else f"{shown} (to {high})"


def degrees_with_ends(value: float | None, ends: Ends) -> str:
    """Return an angle with its interval, for a sentence."""
    return with_ends(value, ends, mark="°")


def mean_and_sd(mean: float, sd: float, unit: str = "") -> str:
    """Return both with the decimals that leave two significant digits of the SD."""
    if not (math.isfinite(sd) and sd > 0):
        return alone(mean, unit)
    return " ± ".join(proper(printed_number(each, unit, sd)) for each in (mean, sd))
