import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.wording import (
    between,
    breakable,
    count,
    file_name,
    listing,
    number,
    shortened,
    span,
    unique_names,
)


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (1.005, 2, "1.00"),  # the double nearest 1.005 lies below it
        (-0.001, 2, "0.00"),  # no minus before a zero
        (-12.345, 1, "−12.3"),
        (float("nan"), 2, "–"),
        (None, 2, "–"),
        (float("inf"), 2, "–"),
    ],
)
def test_number_is_rounded_with_a_true_minus(value, decimals, shown):
    assert number(value, decimals) == shown


@given(st.floats(-1e6, 1e6))
def test_number_reads_back_within_its_rounding(value):
    assert abs(float(number(value, 2).replace("−", "-")) - value) <= 0.005 + 1e-9


def test_interval_and_span():
    assert between((-1.0, 2.346)) == "−1.00 to 2.35"
    assert between((float("nan"), 2.0)) == "–"
    assert span([3.0, None, 1.0, float("nan")]) == "1.00 to 3.00"
    assert span([1.0, 1.0]) == "1.00"
    assert span([]) == "–"


def test_counts_and_lists_are_words():
    assert count(1, "cycle") == "1 cycle"
    assert count(12345, "cycle") == "12\u202f345 cycles"
    assert listing(["a", "b", "c"]) == "a, b and c"
    assert listing([]) == ""


@given(st.text(max_size=200))
def test_breaks_leave_the_letters_alone(name):
    broken = breakable(name)
    assert broken.replace("\u200b", "") == name.replace("\u200b", "")
    assert all(len(run) <= 24 for part in broken.split() for run in part.split("\u200b"))


@given(st.lists(st.text(max_size=40), max_size=5))
def test_file_names_are_plain(parts):
    name = file_name(*parts)
    assert name
    assert name.isascii()
    assert not set(name) & set('/\\:*?"<>| #')
    assert not name.startswith(".")


@given(st.lists(st.sampled_from(["a", "A", "b", "a-2"]), max_size=12))
def test_unique_names_differ_whatever_the_case(names):
    found = unique_names(names)
    assert len({name.lower() for name in found}) == len(names)


def test_long_name_is_shortened():
    assert shortened("P01", 6) == "P01"
    assert shortened("participant", 6) == "parti…"
    assert np.all([len(shortened("x" * n, 6)) <= 6 for n in range(20)])
