"""The drift is weighed against what clocks do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm, t

from twinangle.clocks import synchronise
from twinangle.clocks.drift_prior import shrink_drift

PPM = 1e-6


@pytest.mark.parametrize(("drift", "error"), [(30.0, 60.0), (490.0, 300.0), (490.0, 100.0)])
def test_mean_and_spread_are_those_of_the_posterior(drift, error):
    """By numerical integration (scipy) of prior times likelihood."""

    def density(x):
        prior = 0.95 * norm.pdf(x, 0, 50) + 0.05 * norm.pdf(x, 0, 500)
        return prior * norm.pdf(drift, x, error)

    mass, first, second = (
        quad(lambda x, k=k: x**k * density(x), -4000, 4000, points=(0, drift), limit=400)[0]
        for k in range(3)
    )

    found = shrink_drift(drift * PPM, error * PPM)

    assert found.drift / PPM == pytest.approx(first / mass, rel=1e-5)
    assert found.error / PPM == pytest.approx(
        np.sqrt(second / mass - (first / mass) ** 2), rel=1e-5
    )


def test_precise_data_decide_and_vague_data_do_not():
    assert shrink_drift(150 * PPM, 3 * PPM).drift / PPM == pytest.approx(150, abs=1)
    assert shrink_drift(1900 * PPM, 20 * PPM).drift / PPM == pytest.approx(1900, abs=4)
    assert abs(shrink_drift(440 * PPM, 400 * PPM).drift) < 60 * PPM


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(-3000, 3000), st.floats(0.1, 1000), st.floats(1, 100))
def test_it_never_goes_past_zero_or_grows(drift, error, freedom):
    found = shrink_drift(drift * PPM, error * PPM, freedom)
    mirrored = shrink_drift(-drift * PPM, error * PPM, freedom)

    assert abs(found.drift) <= abs(drift * PPM) * (1 + 1e-12)
    assert found.drift * drift >= 0
    assert mirrored.drift == pytest.approx(-found.drift)


def test_few_degrees_of_freedom_count_as_a_larger_error():
    few = shrink_drift(200 * PPM, 60 * PPM, 4.0)
    many = shrink_drift(200 * PPM, 60 * PPM)

    assert abs(few.drift) < abs(many.drift)
    assert t.ppf(0.975, 4) * few.error > norm.ppf(0.975) * 25 * PPM  # the interval stays wide


def test_an_error_that_is_not_known_leaves_the_drift():
    assert shrink_drift(80 * PPM, float("nan")).drift == 80 * PPM


def test_a_short_walk_with_soft_tissue_gets_no_drift_that_clocks_do_not_have(walking):
    found = []
    for seed in range(4):
        drawn = walking.PairSettings(
            overlap_s=15.0, drift_ppm=40.0, locked_deg=3.0, time_cv=0.025, size_cv=0.03
        )
        pair = walking.make_pair(np.random.default_rng(seed), drawn)
        found.append(synchronise(*pair, expected_lag_s=3.2, max_lag_s=0.4).drift_ppm - 40)
    assert np.abs(found).max() < 100  # the data alone: up to 200 and more
