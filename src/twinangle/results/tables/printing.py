"""Numbers rounded to what their uncertainty supports, for reading and printing.

The rule: a number with an interval, or with a standard error beside it, is given to two significant
digits of the half width of the interval or of that error, the ends of the interval to as many
decimals and outwards, so that a printed interval never is narrower than the computed one. One
more decimal is taken as long as the printed number would leave the computed interval, or a printed
end reach a zero that the computed one does not. Two digits of an uncertainty: Evaluation of
measurement data, JCGM 100:2008, 7.2.6 (from memory). A number without either has the decimals of
its unit below; where that has none, three significant digits, and a whole number stays as it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from functools import cache
from typing import Any

from twinangle.results.tables.columns import Column

# Common practice, no source: what an instrument of this kind resolves.
DECIMALS = {"deg": 2, "s": 3, "Hz": 2, "ppm": 1, "percent": 1}
DIGITS = 3
Place = tuple[str, int | None]  # of a number in a row: its field, and the end of an interval
_MOST = 15  # further decimals that are tried: digits that every binary number of 64 bits carries


def decimals_of(half_width: float) -> int:
    """Return the decimals that leave two significant digits of an uncertainty above 0."""
    return 1 - math.floor(math.log10(half_width))


def decimals_for(value: float, low: float, high: float) -> int | None:
    """Return the decimals of a number and of its interval; None where it has no width.

    Parameters
    ----------
    value : float
        May be NaN, or outside the interval.
    low, high : float
        Ends; one of them may be missing (NaN or infinite).
    """
    ends = [end for end in (low, high) if math.isfinite(end)]
    width = (high - low) / 2 if len(ends) == 2 else max((abs(value - e) for e in ends), default=0.0)
    if not (math.isfinite(width) and width > 0):
        return None
    start = decimals_of(width)
    tried = range(start, start + _MOST)
    return next((n for n in tried if _holds(value, low, high, n)), start)


def _holds(value: float, low: float, high: float, decimals: int) -> bool:
    """Whether so many decimals keep the value in its interval and zero where it was."""
    shown = _at(value, decimals, ROUND_HALF_EVEN)
    first, last = _at(low, decimals, ROUND_FLOOR), _at(high, decimals, ROUND_CEILING)
    inside = not low <= value <= high or (shown is not None and low <= float(shown) <= high)
    zero = not (low > 0 and first == 0) and not (high < 0 and last == 0)
    return inside and zero


def _at(value: float, decimals: int, rounding: str) -> Decimal | None:
    """Round the digits that a number is written with; None if it is not finite."""
    if not math.isfinite(value):
        return None
    exact = Decimal(repr(float(value)))
    if -int(exact.as_tuple().exponent) <= decimals:  # written with no more: nothing to round
        return exact
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding)


def _text(value: float, decimals: int, rounding: str = ROUND_HALF_EVEN) -> str:
    found = _at(value, decimals, rounding)
    return "" if found is None else f"{found + 0:.{max(decimals, 0)}f}"  # + 0: no minus before 0


def printed_interval(value: float, low: float, high: float) -> tuple[str, str, str] | None:
    """Return a number and the ends of its interval as printed; None where it has no width."""
    decimals = decimals_for(value, low, high)
    if decimals is None:
        return None
    return (
        _text(value, decimals),
        _text(low, decimals, ROUND_FLOOR),
        _text(high, decimals, ROUND_CEILING),
    )


def printed_number(value: float, unit: str, error: float = math.nan) -> str:
    """Return a number without an interval as printed; empty where there is none.

    Parameters
    ----------
    value : float
        The number.
    unit : str
        Its unit.
    error : float
        Its standard error, if it has one.
    """
    if not math.isfinite(value):
        return ""
    if math.isfinite(error) and error > 0:
        return _text(value, decimals_of(error))
    if unit in DECIMALS:
        return f"{round(value, DECIMALS[unit]) + 0.0:.{DECIMALS[unit]}f}"
    if value == round(value):  # a count
        return f"{value:.0f}"
    found = _at(value, DIGITS - 1 - math.floor(math.log10(abs(value))), ROUND_HALF_EVEN)
    return f"{found:f}"


def printed_columns(
    columns: Sequence[Column], values: Sequence[Sequence[Any]]
) -> dict[int, list[str]]:
    """Return the cells in print of the columns that hold numbers, by the column's place.

    Parameters
    ----------
    columns : sequence of Column
        A table's.
    values : sequence of sequences
        The cells of each.
    """
    numbers: dict[Place, list[float]] = {
        (one.field, one.end): list(map(_number, cells))
        for one, cells in zip(columns, values, strict=True)
        if one.kind == "number"
    }
    units = next((values[k] for k, one in enumerate(columns) if one.field == "unit"), ())
    shown = _with_intervals(numbers)
    return {
        k: _printed(one, numbers, shown.get((one.field, one.end)), units)
        for k, one in enumerate(columns)
        if one.kind == "number"
    }


def _printed(
    column: Column,
    numbers: Mapping[Place, list[float]],
    shown: list[str | None] | None,
    units: Sequence[str],
) -> list[str]:
    """Return what is printed of a column, given what its intervals say of its numbers."""
    own = numbers[column.field, column.end]
    nothing = [math.nan] * len(own)
    errors = own if _is_error(column.field) else numbers.get((_error_of(column.field), None))
    each = units if column.unit == "column unit" else [column.unit] * len(own)
    cells = zip(shown or [None] * len(own), own, each, errors or nothing, strict=True)
    return [
        printed_number(value, unit, error) if text is None else text
        for text, value, unit, error in cells
    ]


@cache
def _error_of(field: str) -> str:
    """Return the field that holds a field's standard error: `lag_s` has `lag_se_s`."""
    stem, _, unit = field.rpartition("_")
    return f"{stem}_se_{unit}" if stem and unit in DECIMALS else f"{field}_se"


@cache
def _is_error(field: str) -> bool:
    """Whether a field is itself a standard error, which has two significant digits."""
    return field.endswith("_se") or any(field.endswith(f"_se_{unit}") for unit in DECIMALS)


def _with_intervals(numbers: Mapping[Place, list[float]]) -> dict[Place, list[str | None]]:
    """Return what is printed of every number with an interval: None where that has no width."""
    shown: dict[Place, list[str | None]] = {}
    for (field, end), low in numbers.items():
        if end != 0:
            continue
        of = "value" if field == "ci" else field.removesuffix("_ci").removesuffix("_band")
        value = numbers.get((of, None)) or [math.nan] * len(low)
        found = list(map(printed_interval, value, low, numbers[field, 1]))
        for k, place in enumerate(((of, None), (field, 0), (field, 1))):
            before = shown.get(place) or [None] * len(low)
            shown[place] = [
                old if texts is None else texts[k] for texts, old in zip(found, before, strict=True)
            ]
    return shown


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)
