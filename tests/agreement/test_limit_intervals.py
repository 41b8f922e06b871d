"""The default interval of a limit: what it holds, its values, and where it is the published one."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import limits_of_agreement, within_participant_limits
from twinangle.agreement._intervals import exact_limit_factors
from twinangle.agreement._participants import (
    Shape,
    SpreadParts,
    join_components,
    limits_over_participants,
    moments,
)
from twinangle.agreement._quantiles import half_width

Z = half_width(0.95)
STUDIES = 2000
SHARED = Path(__file__).resolve().parents[2] / "../shared/data"


def levels(rng: np.random.Generator, shape: str, size: tuple[int, int]) -> np.ndarray:
    """Participants' levels of mean 0 and variance 1."""
    if shape == "t4":
        return rng.standard_t(4, size) / np.sqrt(2)
    if shape == "skewness 2":
        return rng.gamma(1, 1, size) - 1
    return rng.standard_normal(size)


def hits(shape: str, k: int, within: float, spread: float, confidence: float) -> np.ndarray:
    """Return how many of the studies' intervals held the lower and the upper limit."""
    rng = np.random.default_rng(11)
    counts = rng.integers(5, 61, (k, STUDIES))
    own = within * np.exp(spread * rng.standard_normal((k, STUDIES)) - spread**2)
    means = levels(rng, shape, (k, STUDIES))
    means = means + own / np.sqrt(counts) * rng.standard_normal((k, STUDIES))
    shrunk = own**2 * rng.chisquare(counts - 1) / counts
    found = limits_over_participants(means, shrunk, confidence, Z)
    truth = Z * np.hypot(1, within)
    lower = (found.lower_low <= -truth) & (-truth <= found.lower_high)
    upper = (found.upper_low <= truth) & (truth <= found.upper_high)
    return np.array([lower.sum(), upper.sum()])


# Shape of the levels, participants, SD within over between, SD of its logarithm, confidence; hits
# of lower and upper limit that these seeds give; the share that the documentation says is held.
CELLS = [
    ("normal", 6, 0.5, 0.0, 0.95, (1925, 1941), 0.95),
    ("normal", 12, 2.0, 0.6, 0.95, (1923, 1915), 0.94),
    ("normal", 40, 0.3, 0.0, 0.90, (1863, 1832), 0.90),
    ("t4", 20, 0.5, 0.3, 0.95, (1829, 1835), 0.905),
    ("skewness 2", 12, 0.5, 0.0, 0.95, (1937, 1677), 0.84),
]


@pytest.mark.parametrize(("shape", "k", "within", "spread", "confidence", "seen", "held"), CELLS)
def test_the_interval_holds_what_is_said(shape, k, within, spread, confidence, seen, held):
    found = hits(shape, k, within, spread, confidence)
    assert tuple(found) == seen
    for count in found:
        assert stats.binomtest(int(count), STUDIES, held, alternative="less").pvalue > 0.01
    if shape == "normal":  # and not much more than it says
        most = confidence + 0.035
        both = stats.binomtest(int(found.sum()), 2 * STUDIES, most, alternative="greater")
        assert both.pvalue > 0.01


def test_golden_values_of_a_skewed_and_unequal_study():
    # Computed by this package; they change with any of its constants.
    means = np.array([0.2, -0.5, 3.9, 0.4, -0.1, 1.2, 0.0, -0.8])
    shrunk = np.array([0.02, 0.9, 0.4, 6.0, 0.1, 0.3, 0.05, 1.5])
    found = limits_over_participants(means, shrunk, 0.95, Z)
    seen = [found.lower_low, found.lower_high, found.upper_low, found.upper_high]
    assert_allclose(seen, [-7.7203705197, -1.8031330772, 2.5088022936, 9.5215122899], rtol=1e-8)


def test_golden_values_of_cardiac_output():
    # Bland & Altman (1999, 2007), 12 people; interval computed by this package.
    path = SHARED / "ba1999-cardiac-output/cardiac_output.csv"
    if not path.exists():
        pytest.skip("../shared/data/ba1999-cardiac-output is absent")
    table = pd.read_csv(path)
    found = limits_of_agreement(table["RV"] - table["IC"], table["subject"])
    assert_allclose(
        [*found.lower_ci, *found.upper_ci],
        [-2.9558373, -0.5976349, 1.9534267, 4.4920052],
        atol=5e-7,
    )


def test_golden_values_within_one_participant():
    # Computed by this package; they change with the prior of the serial correlation.
    rng = np.random.default_rng(4)
    found = within_participant_limits(np.round(rng.standard_normal(12), 3))
    seen = [*found.bias_ci, *found.lower_ci, *found.upper_ci]
    assert_allclose(
        seen, [-1.0766730, 1.0468397, -5.4061271, -1.3508006, 1.3511359, 5.5674539], atol=1e-6
    )


@pytest.mark.parametrize("k", [4, 6, 20, 60])
@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("coverage", [0.5, 0.95])
def test_it_is_the_exact_interval_where_only_people_differ_and_are_normal(k, confidence, coverage):
    # Carkeet (2015): mean and SD times the factors of the noncentral t distribution.
    none, z = np.zeros(()), half_width(coverage)
    parts = SpreadParts(np.array(4.0), none, none, k)
    found = join_components(np.array(1.0), parts, confidence, z, shape=Shape(none, none))
    inner, outer = exact_limit_factors(k, confidence=confidence, coverage=coverage)
    seen = [found.lower_low, found.lower_high, found.upper_low, found.upper_high]
    expected = [1 - 2 * outer, 1 - 2 * inner, 1 + 2 * inner, 1 + 2 * outer]
    assert_allclose(seen, expected, rtol=1e-9, atol=1e-9)


@given(st.integers(0, 2**32 - 1), st.floats(-50, 50), st.floats(0.01, 100))
def test_shift_scale_and_mirror_carry_over(seed, shift, scale):
    rng = np.random.default_rng(seed)
    means, shrunk = rng.exponential(size=7), rng.exponential(size=7)
    one = limits_over_participants(means, shrunk, 0.95, Z)
    other = limits_over_participants(shift - scale * means, scale**2 * shrunk, 0.95, Z)
    assert_allclose(other.lower_low, shift - scale * one.upper_high, rtol=1e-7, atol=1e-7 * scale)
    assert_allclose(other.upper_low, shift - scale * one.lower_high, rtol=1e-7, atol=1e-7 * scale)


def test_heavier_tails_and_a_longer_tail_widen_it():
    none = np.zeros(())
    parts = SpreadParts(np.array(1.0), np.array(0.2), np.array(0.1), 10)
    plain, heavy, skew = (
        join_components(none, parts, 0.95, Z, shape=Shape(np.array(g), np.array(r)))
        for g, r in ((0.0, 0.0), (3.0, 0.0), (0.0, 0.5))
    )
    assert heavy.upper_high > plain.upper_high
    assert heavy.lower_low < plain.lower_low
    assert skew.upper_high > plain.upper_high
    assert skew.lower_low > plain.lower_low


@given(st.integers(0, 2**32 - 1), st.integers(4, 30))
def test_moments_are_those_of_scipy(seed, k):
    values = np.random.default_rng(seed).exponential(size=(k, 2))
    variance, skewness, kurtosis = moments(values)
    assert_allclose(variance, values.var(axis=0, ddof=1))
    assert_allclose(skewness, stats.skew(values, axis=0, bias=False), rtol=1e-9, atol=1e-9)
    assert_allclose(kurtosis, stats.kurtosis(values, axis=0, bias=False), rtol=1e-9, atol=1e-8)


def test_equal_means_have_no_shape():
    assert_allclose(moments(np.full((6, 1), 2.5)), np.zeros((3, 1)))


def test_factors_of_the_exact_form_are_reached_from_below_by_no_cycles():
    # The default of several cycles each is wider than the exact one: it allows for heavy tails.
    rng = np.random.default_rng(2)
    means = rng.standard_normal((20, 500))
    found = limits_over_participants(means, np.zeros_like(means), 0.95, Z)
    inner, outer = exact_limit_factors(20)
    ratio = (found.upper_high - found.upper_low) / (outer - inner) / means.std(axis=0, ddof=1)
    assert 1.0 < np.median(ratio) < 1.25
