"""The warning of a shape that is not normal: how often it is false, and what it says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from twinangle.agreement import check_differences, limits_of_agreement
from twinangle.agreement._components import variance_components
from twinangle.agreement._shape import (
    _standardised,
    compared_values,
    normality_p,
    serial_correlation,
)

WARNING = "further from normal than chance"


def warned(notes) -> bool:
    return any(WARNING in note for note in notes)


@pytest.mark.parametrize(("k", "seen"), [(5, 45), (6, 52), (12, 46), (40, 52)])
def test_one_in_twenty_normal_samples_is_warned_of(k, seen):
    # 1000 samples, seeded: the exact number, and whether 5 % can be.
    samples = np.random.default_rng(3).standard_normal((1000, k))
    alarms = sum(normality_p(sample) < 0.05 for sample in samples)
    assert alarms == seen
    assert stats.binomtest(alarms, 1000, 0.05).pvalue > 0.01


def test_unsteady_means_of_few_cycles_are_no_heavy_tails():
    # Cycles vary twice as much as people, people differ in it: 300 studies of 20.
    rng = np.random.default_rng(5)
    alarms = 0
    for _ in range(300):
        people = np.repeat(np.arange(20), rng.integers(5, 61, 20))
        own = 2 * np.exp(0.6 * rng.standard_normal(20) - 0.36)
        values = rng.standard_normal(20)[people] + own[people] * rng.standard_normal(people.size)
        compared = compared_values(values, variance_components(values, people))
        alarms += normality_p(compared) < 0.05
    assert stats.binomtest(alarms, 300, 0.05).pvalue > 0.01


@given(st.integers(0, 2**32 - 1))
def test_standardised_means_have_the_squares_that_paule_and_mandel_ask_for(seed):
    # The equation of the method itself; the search of statsmodels does not always end at it.
    rng = np.random.default_rng(seed)
    error = rng.exponential(size=8) + 1e-3
    means = 2 * rng.standard_normal(8)
    squares = float(np.square(_standardised(means, error)).sum())
    weights = 1 / error
    without = float(weights @ (means - weights @ means / weights.sum()) ** 2)
    assert squares == pytest.approx(min(without, 7.0), rel=1e-6)


def test_the_variance_between_is_that_of_statsmodels():
    rng = np.random.default_rng(6)
    means, error = 2 * rng.standard_normal(8), rng.uniform(0.5, 1.5, 8)
    theirs = combine_effects(means, error, method_re="iterated", use_t=False, atol=1e-10)
    weights = 1 / (theirs.tau2 + error)
    assert theirs.tau2 > 0
    expected = (means - weights @ means / weights.sum()) * np.sqrt(weights)
    assert_allclose(_standardised(means, error), expected, rtol=1e-5, atol=1e-6)


def test_an_odd_participant_is_warned_of_without_percentiles_that_have_no_ends():
    result = limits_of_agreement([0.1, -0.2, 0.3, 0.0, 0.2, -0.1, 0.1, 9.0])
    (note,) = (note for note in result.notes if WARNING in note)
    assert "Shapiro-Wilk, p < 0.001" in note
    assert "ercentile limits" not in note


def test_percentiles_are_named_where_they_have_both_ends():
    result = limits_of_agreement(np.random.default_rng(1).exponential(size=300))
    (note,) = (note for note in result.notes if WARNING in note)
    assert "Percentile limits are defined here" in note


def test_silence_of_few_participants_is_said_to_mean_nothing():
    few, many = (limits_of_agreement(np.random.default_rng(2).standard_normal(k)) for k in (6, 30))
    assert any("6 participants are too few to show" in text for text in few.assumptions)
    assert not any("too few to show" in text for text in many.assumptions)


def test_below_five_values_nothing_is_tested():
    assert np.isnan(normality_p(np.array([0.0, 0.0, 0.0, 9.0])))
    assert np.isnan(normality_p(np.full(9, 1.5)))
    assert not warned(limits_of_agreement([0.0, 0.1, 0.2, 50.0]).notes)


def test_one_participants_cycles_are_compared_beyond_their_serial_correlation():
    rng = np.random.default_rng(8)
    noise = rng.standard_normal(400)
    for i in range(1, 400):
        noise[i] += 0.6 * noise[i - 1]
    parts = variance_components(noise, np.zeros(400))
    compared = compared_values(noise, parts)
    assert_allclose(np.corrcoef(compared[1:], compared[:-1])[0, 1], 0, atol=0.1)
    assert_allclose(serial_correlation(noise, parts), 0.6, atol=0.1)
    assert not warned(limits_of_agreement(noise, np.zeros(400)).notes)
    assert warned(limits_of_agreement(np.exp(noise), np.zeros(400)).notes)


def test_participants_with_one_cycle_among_several_are_compared_too():
    rng = np.random.default_rng(9)
    people = np.array([0, *np.repeat(np.arange(1, 9), 4)])
    values = rng.standard_normal(9)[people] + 0.3 * rng.standard_normal(people.size)
    compared = compared_values(values, variance_components(values, people))
    assert compared.size == 9  # one value a participant, the one of a single cycle too
    assert_allclose(np.sum(compared**2), 8)
    assert_allclose(normality_p(compared), stats.shapiro(compared).pvalue)


def test_checks_of_differences_suggest_by_the_same_warning():
    rng = np.random.default_rng(3)
    reference = rng.uniform(20, 70, 60)
    result = check_differences(reference + rng.exponential(size=60), reference)
    assert WARNING in result.suggestion
    assert result.normality_p < 0.05
