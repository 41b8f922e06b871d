import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from statsmodels.stats.power import TTestPower

from twinangle.agreement import (
    cycles_for_sd,
    equivalence,
    equivalence_power,
    limits_of_agreement,
    limits_power,
    participants_for_equivalence,
    participants_for_limits,
    participants_for_limits_within,
    participants_for_sd_ratio,
    simulate_studies,
    simulated_power_of_ratio,
)


@pytest.mark.parametrize("ratio", [1.2, 1.5, 0.7])
def test_sd_ratio_agrees_with_statsmodels(ratio):
    effect = abs(np.log(ratio)) / 0.3
    expected = TTestPower().solve_power(effect, power=0.8, alpha=0.05)
    result = participants_for_sd_ratio(ratio, sd_log_ratio=0.3)
    assert result.n == np.ceil(expected)
    assert_allclose(result.reached, TTestPower().power(effect, result.n, 0.05), rtol=1e-6)


def test_equivalence_power_is_what_simulated_studies_reach():
    # 1500 studies; 3 Monte Carlo standard errors are 3.5 points.
    rng = np.random.default_rng(1)
    hits = sum(
        equivalence(0.5 + 2 * rng.standard_normal(12), 2.0).bias_equivalent for _ in range(1500)
    )
    assert_allclose(equivalence_power(12, 2.0, bias=0.5, sd=2.0), hits / 1500, atol=0.035)


def test_limits_power_is_what_simulated_studies_reach():
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(1500):
        result = limits_of_agreement(0.3 + rng.standard_normal(30))
        hits += result.lower_ci[0] > -3.2 and result.upper_ci[1] < 3.2
    assert_allclose(limits_power(30, 3.2, bias=0.3, sd=1.0), hits / 1500, atol=0.039)


@given(st.floats(0.3, 3), st.floats(0.1, 2))
def test_more_precision_never_takes_fewer_participants(precision, spread):
    coarse, fine = (
        participants_for_limits(p * spread, sd_between=spread).n for p in (precision, precision / 2)
    )
    assert fine >= coarse


def test_planned_limits_are_that_precise_in_simulated_studies():
    plan = participants_for_limits(1.5, sd_between=2.0, sd_within=1.0, n_cycles=10)
    rng = np.random.default_rng(3)
    found = simulate_studies(plan.n, 10, sd_between=2.0, sd_within=1.0, rng=rng, n_studies=300)
    assert_allclose(found.mean_half_width, plan.reached, rtol=0.1)
    assert found.coverage_of_limit > 0.92
    assert found.coverage_of_bias > 0.91
    assert "simulated studies" in found.summary("°")


def test_each_plan_is_the_smallest_that_reaches_its_aim():
    plan = participants_for_equivalence(2.0, bias=0.5, sd=2.0)
    assert equivalence_power(plan.n - 1, 2.0, bias=0.5, sd=2.0) < 0.8 <= plan.reached
    cycles = cycles_for_sd(0.2)
    assert cycles.n == 53
    assert cycles.reached <= 0.2
    assert "cycles are needed" in cycles.summary()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: participants_for_limits(0, sd_between=1), "`precision`"),
        (lambda: participants_for_limits(1, sd_between=0), "not both 0"),
        (lambda: participants_for_limits(1e-6, sd_between=1), "more than 100000"),
        (lambda: participants_for_equivalence(1, bias=2, sd=1), "not within the margin"),
        (lambda: participants_for_limits_within(1, bias=0, sd=1), "not within ±1"),
        (lambda: participants_for_sd_ratio(1, sd_log_ratio=0.3), "no difference"),
        (lambda: equivalence_power(1, 1, bias=0, sd=1), "`n` must be at least 2"),
        (lambda: equivalence_power(5, 1, bias=0, sd=1, confidence=0.3), "`confidence`"),
        (
            lambda: simulate_studies(3, 5, sd_between=1, sd_within=1, rng=np.random.default_rng(1)),
            "at least 4 participants",
        ),
    ],
)
def test_bad_plans_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize("n", [8, 20])
def test_simulated_power_is_that_of_the_formulas(n):
    expected = {"bias": 0.4, "sd": 1.2}
    found = simulate_studies(
        n, 1, sd_between=1.2, sd_within=0.0, bias=0.4, margin=3.2, n_studies=20_000,
        rng=np.random.default_rng(1),
    )  # fmt: skip
    assert_allclose(found.power_limits, limits_power(n, 3.2, **expected), atol=0.012)
    narrow = simulate_studies(
        n, 1, sd_between=1.2, sd_within=0.0, bias=0.4, margin=1.1, n_studies=20_000,
        rng=np.random.default_rng(2),
    )  # fmt: skip
    assert_allclose(narrow.power_bias, equivalence_power(n, 1.1, **expected), atol=0.012)
    assert_allclose(found.coverage_of_limit, 0.95, atol=0.006)
    assert "the limits in" in found.summary("°")


def test_simulated_power_of_a_ratio_is_that_of_the_noncentral_t():
    size = participants_for_sd_ratio(1.3, sd_log_ratio=0.25)
    share = simulated_power_of_ratio(
        size.n, 1.3, sd_log_ratio=0.25, rng=np.random.default_rng(3), n_studies=40_000
    )
    assert_allclose(share, size.reached, atol=0.008)


def test_simulated_studies_hold_what_single_studies_hold():
    # The same design through `limits_of_agreement`, one study after another.
    rng, hits = np.random.default_rng(4), 0
    people, truth = np.repeat(np.arange(6), 10), 1.959964 * np.hypot(1.0, 1.5)
    for _ in range(400):
        values = rng.standard_normal(6)[people] + 1.5 * rng.standard_normal(60)
        low, high = limits_of_agreement(values, people).upper_ci
        hits += low <= truth <= high
    found = simulate_studies(
        6, 10, sd_between=1.0, sd_within=1.5, rng=np.random.default_rng(5), n_studies=8000
    )
    assert_allclose(found.coverage_of_limit, hits / 400, atol=0.035)
    assert np.isnan(found.power_bias)


def test_simulations_that_cannot_be_are_refused():
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match="`margin` must be above 0"):
        simulate_studies(6, 2, sd_between=1, sd_within=1, rng=rng, margin=0.0)
    with pytest.raises(ValueError, match="at least 4 participants"):
        simulate_studies(3, 2, sd_between=1, sd_within=1, rng=rng)
    with pytest.raises(ValueError, match="a ratio and an SD above 0"):
        simulated_power_of_ratio(6, 0.0, sd_log_ratio=0.2, rng=rng)
