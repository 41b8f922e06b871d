"""Bias and limits without each participant in turn: a second opinion, laws, and refusals."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.outliers_influence import OLSInfluence

from twinangle.agreement import leave_one_out, limits_of_agreement


def study(seed, people, cycles=6):
    rng = np.random.default_rng(seed)
    codes = np.repeat([f"P{k}" for k in range(people)], rng.integers(1, cycles + 1, people))
    own = dict(zip(dict.fromkeys(codes), rng.normal(1, 2, people), strict=True))
    return np.array([own[code] for code in codes]) + rng.normal(0, 0.5, codes.size), codes


def test_changes_of_the_bias_are_those_of_a_regression_on_a_constant():
    # Reference: statsmodels, OLSInfluence.dfbeta, parameters of all minus those without one.
    difference, codes = study(1, 7)
    people = list(dict.fromkeys(codes))
    means = np.array([difference[codes == code].mean() for code in people])
    expected = OLSInfluence(sm.OLS(means, np.ones(7)).fit()).dfbeta[:, 0]
    found = [one.bias_change for one in leave_one_out(difference, codes).without]
    np.testing.assert_allclose(found, -expected, rtol=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(4, 9), st.integers(1, 6))
def test_laws(seed, people, cycles):
    difference, codes = study(seed, people, cycles)
    found = leave_one_out(difference, codes)
    whole = limits_of_agreement(difference, codes)
    assert [one.participant for one in found.without] == list(dict.fromkeys(codes))
    # Where every participant counts the same, what each takes from the bias adds up to nothing.
    assert sum(one.bias_change for one in found.without) == pytest.approx(0, abs=1e-9)
    one = found.largest
    rest = codes != one.participant
    again = limits_of_agreement(difference[rest], codes[rest])
    assert (one.bias, one.lower, one.upper) == (again.bias, again.lower, again.upper)
    assert one.n_observations == rest.sum()
    assert whole.lower + one.lower_change == pytest.approx(one.lower)
    assert one.largest_change == max(each.largest_change for each in found.without)
    moved = leave_one_out(difference + 3, codes)
    assert [each.bias_change for each in moved.without] == pytest.approx(
        [each.bias_change for each in found.without], abs=1e-9
    )


def test_an_outlying_participant_is_named():
    difference, codes = study(3, 6)
    difference = np.where(codes == "P4", difference + 20, difference)
    assert leave_one_out(difference, codes).largest.participant == "P4"


def test_too_few_are_told():
    difference, codes = study(2, 3)
    with pytest.raises(ValueError, match="3 participants; leaving each out in turn needs 4"):
        leave_one_out(difference, codes)
    with pytest.raises(ValueError, match=r"^1 participant; leaving"):
        leave_one_out(difference, np.full(len(codes), "P1"))
