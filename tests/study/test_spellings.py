"""Names that are one but for their spelling, and names that are not."""

from __future__ import annotations

import pytest

from twinangle.study.spellings import folded, folded_words, likely_same


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("indoor", "indoors"),
        ("indoor", "Indoor"),
        ("in door", "indoor"),
        ("in-doors", "Indoor "),
        ("stairs up", "stair_up"),
        ("slow walk 1", "slow walks 01"),
    ],
)
def test_conditions_that_are_one_are_told(one, other):
    assert list(likely_same([(2, one), (3, other)], folded_words)) == [(2, one, 3, other)]


@pytest.mark.parametrize(
    ("one", "other"),
    [("indoor", "outdoor"), ("walk 1", "walk 11"), ("typical", "atypical"), ("as", "a"), ("", "s")],
)
def test_conditions_that_are_two_are_not(one, other):
    assert not list(likely_same([(2, one), (3, other)], folded_words))


def test_a_code_keeps_its_letters():
    """A participant's s may be all that tells two codes apart."""
    assert folded("ABCs") != folded("ABC")
