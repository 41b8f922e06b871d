"""Every input that cannot be answered is refused by its cause, or answered with a note."""

import dataclasses

import numpy as np
import pytest

import twinangle.agreement as agreement
from twinangle.agreement import (
    compare_curves,
    compare_variability,
    curve_band,
    cycle_variability,
    difference_along_cycle,
    equivalence_test,
    error_budget,
    functional_limits,
    intraclass_correlations,
    limits_of_agreement,
    percentile_limits,
    regression_limits,
)
from twinangle.agreement._result import Result

RNG = np.random.default_rng(1)
CURVES = RNG.standard_normal((12, 20)).cumsum(axis=1)
PEOPLE = np.repeat(np.arange(6), 2)
RESULTS = [
    item
    for name in agreement.__all__
    if isinstance(item := getattr(agreement, name), type) and dataclasses.is_dataclass(item)
    if item is not agreement.InstrumentError  # a part of ThreeInstruments, which has them
]


@pytest.mark.parametrize("result", RESULTS, ids=lambda item: item.__name__)
def test_every_result_is_frozen_and_has_words_a_frame_and_assumptions(result):
    assert issubclass(result, Result)
    assert result.__dataclass_params__.frozen
    assert callable(result.summary)
    assert callable(result.to_frame)
    names = {item.name for item in dataclasses.fields(result)} | set(vars(result))
    assert "assumptions" in names
    intervals = {name for name in names if name.endswith("_ci")}
    assert not intervals or "confidence" in names


@pytest.mark.parametrize("k", [2, 3])
def test_fewer_than_four_participants_have_limits_without_an_interval_and_a_note(k):
    result = limits_of_agreement(RNG.standard_normal(3 * k), np.repeat(np.arange(k), 3))
    assert np.isnan(result.upper_ci).all()
    assert any(f"{k} participants" in note for note in result.notes)


@pytest.mark.parametrize("k", [1, 2, 3])
@pytest.mark.parametrize("band", [curve_band, functional_limits])
def test_bands_of_fewer_than_four_participants_are_refused(k, band):
    curves, people = CURVES[: 2 * k], PEOPLE[: 2 * k]
    given = (curves, 0 * curves) if band is functional_limits else (curves,)
    with pytest.raises(ValueError, match=f"at least 4 participants are needed, got {k}"):
        band(*given, people)


def test_one_cycle_each_is_the_simple_form_and_says_what_it_cannot_tell():
    result = limits_of_agreement(RNG.standard_normal(6), range(6))
    assert result.method == "one pair a participant"
    assert any("cannot be told apart" in note for note in result.notes)


@pytest.mark.parametrize("function", [cycle_variability, compare_variability])
def test_one_cycle_has_no_variability(function):
    given = (CURVES[:1],) * (2 if function is compare_variability else 1)
    with pytest.raises(ValueError, match="at least 2 row"):
        function(*given)


@pytest.mark.parametrize("people", [None, PEOPLE])
def test_equal_differences_have_limits_of_no_width_and_a_note(people):
    result = limits_of_agreement(np.full(12, 1.5), people)
    assert result.lower == result.upper == result.bias == 1.5
    assert result.upper_ci == (1.5, 1.5)
    assert any("All differences are equal" in note for note in result.notes)


def test_equal_differences_elsewhere():
    assert equivalence_test(np.full(12, 1.5), 2.0, PEOPLE).verdict == "inside"
    assert percentile_limits(np.full(12, 1.5), PEOPLE).lower == 1.5
    budget = error_budget(CURVES + 2, CURVES)
    assert budget.offset == pytest.approx(4)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize(
    "call",
    [
        lambda c: compare_curves(c, CURVES),
        lambda c: compare_variability(CURVES, c),
        lambda c: cycle_variability(c),
        lambda c: error_budget(c, CURVES),
        lambda c: curve_band(c, PEOPLE),
        lambda c: functional_limits(c, CURVES, PEOPLE),
        lambda c: difference_along_cycle(c, CURVES, PEOPLE, rng=RNG),
        lambda c: intraclass_correlations(c),
    ],
)
def test_a_hole_or_an_infinite_value_is_named_with_its_place(bad, call):
    curves = CURVES.copy()
    curves[3, 7] = bad
    with pytest.raises(ValueError, match=r"missing or infinite value.*index \(3, 7\)"):
        call(curves)


@pytest.mark.parametrize("function", [compare_curves, compare_variability, error_budget])
def test_unequal_points_or_cycles_are_named_with_both_shapes(function):
    with pytest.raises(ValueError, match=r"\(12, 20\) and `reference` \(12, 19\)"):
        function(CURVES, CURVES[:, :-1])
    with pytest.raises(ValueError, match=r"\(12, 20\) and `reference` \(11, 20\)"):
        function(CURVES, CURVES[:-1])


@pytest.mark.parametrize("margin", [0, -1, np.nan, np.inf])
def test_a_margin_that_is_none_is_refused(margin):
    with pytest.raises(ValueError, match="`margin` must be above 0"):
        equivalence_test(RNG.standard_normal(12), margin, PEOPLE)


def test_equal_sizes_have_no_line():
    with pytest.raises(ValueError, match="all pairs have the size"):
        regression_limits([1.0, 2.0, 3.0, 4.0], [3.0, 2.0, 1.0, 0.0])
