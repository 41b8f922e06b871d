import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.thresholds import told_apart

numbers = st.floats(-1e6, 1e6)


@pytest.mark.parametrize(
    ("value", "limit", "decimals", "expected"),
    [
        (3.04, 3.0, 0, ("3.04", "3")),  # was "about 3° (more than 3°)"
        (9.13, 9.08, 1, ("9.13", "9.08")),  # was "9.1° (limit 9.1°)"
        (41.2, 25.0, 0, ("41", "25")),
        (12.0, 9.08, 1, ("12.0", "9.1")),
        (0.1 + 0.2, 0.3, 1, ("0.30000000000000004", "0.3")),
        (3.0, 3.0, 1, ("3.0", "3")),
        (math.nan, 3.0, 1, ("nan", "3")),
        (math.inf, 3.0, 1, ("inf", "3")),
    ],
)
def test_as_many_decimals_as_tell_them_apart(value, limit, decimals, expected):
    assert told_apart(value, limit, decimals) == expected


@given(numbers, numbers, st.integers(0, 4))
def test_what_is_printed_compares_as_the_numbers_do(value, limit, decimals):
    shown, bound = map(float, told_apart(value, limit, decimals))
    assert (shown > bound) == (value > limit)
    assert (shown < bound) == (value < limit)


@given(numbers, st.floats(1e-9, 1e-3), st.integers(0, 4))
def test_close_numbers_compare_as_they_do(value, step, decimals):
    limit = value + step
    shown, bound = map(float, told_apart(value, limit, decimals))
    assert (shown < bound) == (value < limit)
