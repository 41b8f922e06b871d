"""Errors of three instruments: laws and a simulated truth; a published table in tests/published."""

import numpy as np
import pytest
from hypothesis import given, strategies
from hypothesis.extra.numpy import arrays
from scipy import stats

from twinangle.agreement import three_instrument_errors

READINGS = arrays(float, (3, 12), elements=strategies.floats(-50, 50, width=32))
PEOPLE = np.repeat(["a", "b", "c", "d"], [2, 3, 3, 4])


@given(READINGS)
def test_errors_add_up_to_the_variance_of_the_differences(read):
    found = three_instrument_errors(*read, PEOPLE)
    variances = [one.variance for one in found.errors]
    assert sum(variances[:2]) == pytest.approx(found.sd_second**2, abs=1e-6)
    assert variances[0] + variances[2] == pytest.approx(found.sd_third**2, abs=1e-6)
    assert sum(variances[1:]) == pytest.approx(found.sd_references**2, abs=1e-6)


@given(READINGS, arrays(float, 12, elements=strategies.floats(-50, 50, width=32)))
def test_what_is_measured_and_a_constant_bias_change_nothing(read, truth):
    found = three_instrument_errors(*read, PEOPLE)
    moved = three_instrument_errors(*(read + truth + [[3.0], [-5.0], [0.0]]), PEOPLE)
    for one, other in zip(found.errors, moved.errors, strict=True):
        assert other.variance == pytest.approx(one.variance, abs=1e-6)


@given(READINGS)
def test_order_of_the_references_exchanges_them_and_no_more(read):
    found = three_instrument_errors(*read, PEOPLE)
    turned = three_instrument_errors(read[0], read[2], read[1], PEOPLE)
    assert turned.errors[0].variance == pytest.approx(found.errors[0].variance, abs=1e-6)
    assert turned.errors[1].variance == pytest.approx(found.errors[2].variance, abs=1e-6)


def test_one_value_a_participant_gives_the_sample_covariance():
    """Against numpy: var(e_W) = cov(W - A, W - B)."""
    read = np.random.default_rng(3).normal(size=(3, 9))
    found = three_instrument_errors(*read)
    expected = np.cov(read[0] - read[1], read[0] - read[2])[0, 1]
    assert found.errors[0].variance == pytest.approx(expected, rel=1e-12)


def test_known_errors_are_found():
    rng = np.random.default_rng(11)
    people = np.repeat(np.arange(400), 5)
    truth = rng.normal(0, 20, people.size)
    sds = (1.5, 0.5, 1.0)
    read = [truth + rng.normal(0, sd, people.size) for sd in sds]
    found = three_instrument_errors(*read, people)
    for one, sd in zip(found.errors, sds, strict=True):
        # the variance's standard error is sqrt((v1 v2 + c^2) / n), here 0.06 at most
        assert one.variance == pytest.approx(sd**2, abs=0.18)
        low, high = one.variance_ci
        assert low < sd**2 < high
    assert found.share_second == pytest.approx(0.25 / 2.5, abs=0.06)
    assert found.share_third == pytest.approx(1.0 / 3.25, abs=0.06)
    low, high = found.share_third_ci
    assert low < 1.0 / 3.25 < high


def test_a_negative_estimate_is_said_as_such():
    shared = np.array([3.0, -2.0, 1.0, -4.0, 2.0, 0.0])
    # the first lies between the others, nearer to both than they are to each other
    found = three_instrument_errors(np.zeros(6), shared, -shared, names=("W", "A", "B"))
    assert found.negative == ("W",)
    assert found.errors[0].variance == pytest.approx(-shared.var(ddof=1))
    assert np.isnan(found.errors[0].sd)
    assert "below 0" in found.summary()


def test_two_participants_have_no_interval_and_one_is_refused():
    read = np.random.default_rng(1).normal(size=(3, 8))
    two = three_instrument_errors(*read, np.repeat(["a", "b"], 4))
    assert np.isnan(two.share_second_ci).all()
    with pytest.raises(ValueError, match="2 participants"):
        three_instrument_errors(*read, np.repeat(["a"], 8))
    with pytest.raises(ValueError, match="8, 8, 7 values"):
        three_instrument_errors(read[0], read[1], read[2, :7])


def test_jackknife_leaves_out_whole_participants():
    """Against the plain way: the estimate of the others, one participant out at a time."""
    read = np.random.default_rng(8).normal(size=(3, 12))
    found = three_instrument_errors(*read, PEOPLE, confidence=0.9)
    left = [
        three_instrument_errors(*read[:, person != PEOPLE], PEOPLE[person != PEOPLE])
        for person in "abcd"
    ]
    pseudo = [4 * found.share_third - 3 * one.share_third for one in left]
    half = stats.t.ppf(0.95, 3) * np.std(pseudo, ddof=1) / 2
    low, high = found.share_third_ci
    assert high - low == pytest.approx(2 * half, rel=1e-9)
