"""The natural but wrong call is refused, and rows of pandas are never joined by position alone."""

import numpy as np
import pandas as pd
import pytest

from twinangle.agreement import (
    check_differences,
    compare_curves,
    concordance,
    curve_band,
    equivalence_test,
    functional_limits,
    limits_of_agreement,
    limits_without_reference_error,
    mixed_model_limits,
    percentile_limits,
    ratio_limits,
)

# Peak flow of 17 people by two meters, first readings: Bland & Altman 1986, Lancet 327:307.
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
PEOPLE = [f"P{k:02d}" for k in range(17)]
DIFFERENCE = np.subtract(LARGE, MINI)


@pytest.mark.parametrize("kind", [list, np.array, pd.Series])
@pytest.mark.parametrize("unit", [1, 1.0, 0.1])
def test_the_natural_call_of_two_instruments_is_refused(kind, unit):
    test, reference = (kind(unit * np.array(each)) for each in (LARGE, MINI))
    with pytest.raises(ValueError, match=r"limits_of_agreement\(test - reference, participant\)"):
        limits_of_agreement(test, reference)


def test_what_the_refusal_advises_is_right():
    # −2.117647 and, with 1.96 SD, −78.0973 to 73.8620: computed from the paper's data.
    found = limits_of_agreement(DIFFERENCE)
    assert found.bias == pytest.approx(-2.117647, abs=1e-6)
    assert (found.lower, found.upper) == pytest.approx((-78.0973, 73.8620), abs=2e-3)
    named = limits_of_agreement(DIFFERENCE, PEOPLE)
    assert (named.lower, named.upper) == pytest.approx((found.lower, found.upper), rel=1e-12)


def readings_with_ties():
    return np.round(np.random.default_rng(2).normal(120, 15, 85))


@pytest.mark.parametrize("kind", [int, float])
def test_readings_with_ties_are_refused_as_well(kind):
    reference = readings_with_ties().astype(kind)
    assert np.unique(reference).size < reference.size
    with pytest.raises(ValueError, match="as readings of an instrument do"):
        limits_of_agreement(reference + 1.5, reference)


@pytest.mark.parametrize(
    "participant",
    [
        np.arange(1, 18),
        np.arange(17)[::-1],
        np.repeat([3.0, 1.0, 2.0, 7.0], [4, 4, 4, 5]),  # whole numbers that pandas made floats
        np.r_[np.tile([5, 2, 9, 1, 4, 3, 8, 6], 2), 5],
        np.array(PEOPLE),
        pd.Categorical(PEOPLE),
        None,
    ],
)
def test_participants_are_let_pass(participant):
    assert limits_of_agreement(DIFFERENCE, participant).n_observations == 17


@pytest.mark.parametrize(
    "call",
    [
        lambda d, p: percentile_limits(d, p),
        lambda d, p: equivalence_test(d, 5, p),
        lambda d, p: limits_without_reference_error(d, 1.0, p),
        lambda d, p: mixed_model_limits(d, p),
        lambda d, p: check_differences(d + 500, np.full(d.size, 500.0), p),
        lambda d, p: ratio_limits(d + 500, np.full(d.size, 500.0), p),
        lambda d, p: curve_band(np.outer(d, [1.0, 2.0, 1.0]), p),
        lambda d, p: functional_limits(np.outer(d, np.ones(9)), np.zeros((d.size, 9)), p),
    ],
)
def test_every_sister_refuses_readings_for_participants(call):
    with pytest.raises(ValueError, match="`participant` says whose each row is"):
        call(DIFFERENCE.astype(float), np.array(MINI) / 10)


@pytest.mark.parametrize("call", [equivalence_test, limits_without_reference_error])
def test_a_second_instrument_is_no_margin(call):
    with pytest.raises(ValueError, match=r"must be one number, .*test - reference"):
        call(np.array(LARGE), np.array(MINI))


SHUFFLED = pd.Series(PEOPLE).sample(frac=1, random_state=1)


@pytest.mark.parametrize(
    "call",
    [
        lambda: limits_of_agreement(pd.Series(DIFFERENCE), SHUFFLED),
        lambda: percentile_limits(pd.Series(DIFFERENCE), SHUFFLED),
        lambda: equivalence_test(pd.Series(DIFFERENCE), 5, SHUFFLED),
        lambda: concordance(pd.Series(LARGE), pd.Series(MINI, index=SHUFFLED.index)),
        lambda: ratio_limits(pd.Series(LARGE), pd.Series(MINI, index=SHUFFLED.index)),
        lambda: ratio_limits(pd.Series(LARGE), pd.Series(MINI), SHUFFLED),
        lambda: compare_curves(
            pd.DataFrame(np.ones((5, 9))), pd.DataFrame(np.ones((5, 9)), index=range(1, 6))
        ),
        lambda: mixed_model_limits(pd.Series(DIFFERENCE), np.repeat([1, 2], [8, 9]), SHUFFLED),
    ],
)
def test_rows_with_unlike_indexes_are_refused(call):
    with pytest.raises(ValueError, match=r"unlike indexes \(row 0 is 0 in the one and 1?\d"):
        call()


def test_equal_indexes_and_arrays_are_taken_row_by_row():
    index = pd.Index(PEOPLE)
    people = pd.Series(PEOPLE, index=index)
    found = limits_of_agreement(pd.Series(DIFFERENCE, index=index), people)
    assert found.bias == limits_of_agreement(DIFFERENCE, people).bias
    with pytest.raises(ValueError, match="17 and 16 rows"):
        limits_of_agreement(pd.Series(DIFFERENCE, index=index), people[:-1])


@pytest.mark.parametrize("n", [20, 40, 100, 400])
def test_whole_degrees_of_a_second_instrument_are_refused_at_any_number(n):
    rng = np.random.default_rng(n)
    for _ in range(30):
        reference = rng.integers(52, 71, n)
        test = reference + rng.integers(-2, 4, n)
        with pytest.raises(ValueError, match="as readings of an instrument do"):
            limits_of_agreement(test, reference)


def test_whole_numbers_that_name_participants_are_taken():
    difference = np.random.default_rng(1).normal(size=24)
    together = np.repeat([3, 1, 2, 4], [5, 7, 6, 6])
    in_turn = np.tile([1, 2, 3, 4], 6)
    for participant in (together, in_turn):
        assert limits_of_agreement(difference, participant).n_participants == 4
