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
from collections.abc import Iterator, Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from functools import cache
from typing import Any

from twinangle.results.tables.columns import Column

# Common practice, no source: what an instrument of this kind resolves.
DECIMALS = {"deg": 2, "s": 3, "Hz": 2, "ppm": 1, "percent": 1}
DIGITS = 3
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


def printed_cells(columns: tuple[Column, ...], row: Any) -> Iterator[tuple[str, Any]]:
    """Yield each column's name and its cell in print: numbers rounded, the rest as it is."""
    numbers = {one.field: getattr(row, one.field) for one in columns if one.kind == "number"}
    shown = _with_intervals(numbers)
    for column in columns:
        value = column.of(row)
        if column.kind != "number":
            yield column.name, value
        elif (column.field, column.end) in shown:
            yield column.name, shown[column.field, column.end]
        else:
            unit = row.unit if column.unit == "column unit" else column.unit
            own = _is_error(column.field)
            error = value if own else numbers.get(_error_of(column.field), math.nan)
            yield column.name, printed_number(_number(value), unit, _number(error))


@cache
def _error_of(field: str) -> str:
    """Return the field that holds a field's standard error: `lag_s` has `lag_se_s`."""
    stem, _, unit = field.rpartition("_")
    return f"{stem}_se_{unit}" if stem and unit in DECIMALS else f"{field}_se"


@cache
def _is_error(field: str) -> bool:
    """Whether a field is itself a standard error, which has two significant digits."""
    return field.endswith("_se") or any(field.endswith(f"_se_{unit}") for unit in DECIMALS)


def _with_intervals(numbers: Mapping[str, Any]) -> dict[tuple[str, int | None], str]:
    """Return what is printed of every number with an interval, by field and end."""
    shown: dict[tuple[str, int | None], str] = {}
    for field, value in numbers.items():
        if not isinstance(value, tuple):
            continue
        of = "value" if field == "ci" else field.removesuffix("_ci").removesuffix("_band")
        texts = printed_interval(_number(numbers.get(of)), *map(_number, value))
        if texts is not None:
            shown |= {(of, None): texts[0], (field, 0): texts[1], (field, 1): texts[2]}
    return shown


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)
