"""Numbers in print: as many digits as their uncertainty supports, and no interval narrowed."""

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.declare import measured
from twinangle.results.tables.columns import columns_of
from twinangle.results.tables.printing import printed_columns, printed_interval, printed_number

finite = st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-9)
widths = st.floats(1e-9, 1e5)
ROUNDING = Decimal("1e-9")


@pytest.mark.parametrize(
    ("numbers", "shown"),
    [
        ((0.28482, -0.86907, 1.43871), ("0.3", "-0.9", "1.5")),
        ((2.129257, 1.754672, 2.503841), ("2.13", "1.75", "2.51")),
        ((12345.6, 11100.0, 13590.0), ("12300", "11100", "13600")),
        ((0.999920, 0.999805, 0.999968), ("0.999920", "0.999805", "0.999968")),
    ],
)
def test_two_digits_of_the_half_width(numbers, shown):
    # worked by hand: half widths 1.15, 0.37, 1245, 8.1e-5 give 1, 2, -2, 6 decimals
    assert printed_interval(*numbers) == shown


def test_the_standard_error_stands_in_for_an_interval():
    # worked by hand: 2.2 ms to two digits are four decimals of a second
    assert printed_number(2.172324, "s", 0.0022) == "2.1723"


def test_without_either_the_unit_or_three_digits_decide():
    assert printed_number(12.3456, "deg") == "12.35"
    assert printed_number(0.00012345, "") == "0.000123"
    assert printed_number(math.nan, "deg") == ""
    assert printed_number(-0.0012, "deg") == "0.00"
    assert printed_number(0.0, "") == "0"
    assert printed_number(0.95, "") == "0.95"
    assert printed_number(10201.0, "") == "10201"  # a count is not rounded


def test_a_standard_error_has_two_digits_and_lends_them_to_its_number():
    shown = printed_columns(columns_of(Timed), [[2.1723241], [0.00053146]])
    assert shown == {0: ["2.17232"], 1: ["0.00053"]}


@dataclass(frozen=True)
class Timed:
    lag_s: Annotated[float, measured("s", "a lag")]
    lag_se_s: Annotated[float, measured("s", "its standard error")]


@given(low=finite, width=widths, share=st.floats(0, 1))
def test_a_printed_interval_holds_the_computed_one_and_its_number(low, width, share):
    high = low + width
    value = min(max(low + share * width, low), high)
    if not low < high:
        return
    number, first, last = map(float, printed_interval(value, low, high))
    assert first <= low
    assert high <= last
    assert low <= number <= high
    # and no more than it must be: outwards by less than a tenth of the half width at each end
    assert max(low - first, last - high) <= 0.1 * (high - low) / 2 + 4 * math.ulp(high)


@given(size=st.floats(1e-6, 1e3), width=widths, sign=st.sampled_from([-1, 1]))
def test_an_interval_off_zero_is_printed_off_zero(size, width, sign):
    low, high = sorted((sign * size, sign * (size + width)))
    if not low < high:
        return
    _, first, last = map(float, printed_interval((low + high) / 2, low, high))
    assert first > 0 or last < 0


def test_an_interval_open_to_one_side_is_printed_by_the_other():
    assert printed_interval(1.184495, math.nan, 2.0) == ("1.18", "", "2.00")
    assert printed_interval(1.0, 1.0, 1.0) is None
    assert printed_interval(math.nan, math.nan, math.nan) is None


@given(value=finite, error=widths)
def test_a_number_in_print_is_within_a_tenth_of_its_error(value, error):
    off = abs(Decimal(printed_number(value, "deg", error)) - Decimal(repr(value)))
    assert off <= Decimal(repr(0.05 * error)) * (1 + ROUNDING)
