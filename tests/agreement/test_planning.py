import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.agreement import (
    cycles_for_sd,
    equivalence_test,
    limits_of_agreement,
    participants_for_limits,
    participants_for_limits_within,
    simulate_studies,
)
from twinangle.agreement.simulated_studies import LimitsDesign, StudyPool, study_limits


def generator(seed=20):
    return np.random.default_rng(seed)


def exact_factors(n, confidence=0.95):
    """Carkeet 2015: a limit's interval reaches mean + k s, k from scipy's noncentral t."""
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    return stats.nct.ppf(tails, n - 1, stats.norm.ppf(0.975) * np.sqrt(n)) / np.sqrt(n)


def exact_assurance(n, precision, sd):
    inner, outer = exact_factors(n)
    return stats.chi2.cdf((n - 1) * (2 * precision / ((outer - inner) * sd)) ** 2, n - 1)


@pytest.mark.parametrize(("precision", "assurance"), [(1.0, 0.8), (1.5, 0.9), (0.7, 0.5)])
def test_one_cycle_assurance_is_that_of_chi_squared(precision, assurance):
    plan = participants_for_limits(precision, sd_between=2.0, assurance=assurance, rng=generator())
    exact = exact_assurance(plan.n, precision, 2.0)
    assert_allclose(plan.reached, exact, atol=4 * plan.standard_error)
    # the exact size: the least whose assurance is reached, but for what 4000 studies cannot tell
    off = 4 * plan.standard_error
    assert exact_assurance(plan.n, precision, 2.0) > assurance - off
    assert exact_assurance(plan.n - 1, precision, 2.0) < assurance + off


def test_planned_studies_keep_what_the_plan_promised():
    # Single studies through the public functions, not the arrays that the plan came from.
    plan = participants_for_limits_within(
        5.0, sd_between=1.0, sd_within=1.5, n_cycles=10, bias=0.5, rng=generator(), n_studies=1500
    )
    rng, people = generator(3), np.repeat(np.arange(plan.n), 10)
    hits = 0
    for _ in range(400):
        level = 0.5 + rng.standard_normal(plan.n)
        values = level[people] + 1.5 * rng.standard_normal(people.size)
        hits += equivalence_test(values, 5.0, people).verdict == "inside"
    assert stats.binomtest(hits, 400, plan.reached).pvalue > 0.01, (hits / 400, plan.reached)


def test_more_cycles_take_no_more_people_and_all_cycles_count():
    # A one-cycle formula asked for 60 people here, whatever the cycles.
    sizes = [
        participants_for_limits_within(
            5.0, sd_between=1.5, sd_within=1.0, n_cycles=n, rng=generator(), n_studies=1000
        ).n
        for n in (2, 20, 60)
    ]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[1] < 52


@settings(max_examples=15)
@given(st.floats(0.5, 3), st.floats(0.1, 2))
def test_more_precision_never_takes_fewer_participants(precision, spread):
    coarse, fine = (
        participants_for_limits(p * spread, sd_between=spread, rng=generator(), n_studies=200).n
        for p in (precision, precision / 1.5)
    )
    assert fine >= coarse


def test_fewer_people_do_not_reach_the_aim():
    pool = StudyPool(LimitsDesign(1.5), generator(), 4000)
    plan = participants_for_limits(1.0, sd_between=1.5, rng=generator())
    found = pool.limits(plan.n - 1, 0.95)
    assert np.mean(found.upper_high - found.upper_low <= 2.0) < 0.8 <= plan.reached


def test_the_first_participants_of_a_pool_stay_the_same():
    first, grown = (StudyPool(LimitsDesign(1.0, 1.0, 5), generator(), 50) for _ in range(2))
    grown.limits(40, 0.95)
    assert_allclose(grown.limits(6, 0.95).upper_high, first.limits(6, 0.95).upper_high, rtol=0)


@pytest.mark.parametrize("n_cycles", [1, 6])
def test_simulated_limits_are_those_of_the_public_function(n_cycles):
    rng = generator(8)
    values = rng.standard_normal((9, n_cycles)) + rng.standard_normal((9, 1))
    public = limits_of_agreement(values.ravel(), np.repeat(np.arange(9), n_cycles), confidence=0.9)
    means, rest = values.mean(axis=1), values.var(axis=1)
    found = study_limits(means[:, None], rest[:, None], n_cycles, 0.9)
    assert_allclose([found.lower_low[0], found.lower_high[0]], public.lower_ci)
    assert_allclose([found.upper_low[0], found.upper_high[0]], public.upper_ci)


def test_the_same_generator_gives_the_same_plan():
    plans = [participants_for_limits(1.0, sd_between=1.5, rng=generator()) for _ in range(2)]
    assert plans[0].summary("°") == plans[1].summary("°")
    assert plans[0].summary("°").startswith(f"{plans[0].n} participants are needed for a 95 %")


def test_cycles_are_the_least_that_reach_the_precision():
    cycles = cycles_for_sd(0.2)
    assert cycles.n == 53
    low, high = np.sqrt(52 / stats.chi2.ppf([0.975, 0.025], 52))
    assert_allclose(cycles.reached, (high - low) / 2)
    assert "53 cycles are needed" in cycles.summary()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: participants_for_limits(0, sd_between=1, rng=generator()), "`precision`"),
        (lambda: participants_for_limits(1, sd_between=0, rng=generator()), "not both 0"),
        (lambda: participants_for_limits(1e-6, sd_between=1, rng=generator()), "more than 1000"),
        (
            lambda: participants_for_limits(1, sd_between=1, assurance=1, rng=generator()),
            "`assurance`",
        ),
        (
            lambda: participants_for_limits_within(1, bias=2, sd_between=0.1, rng=generator()),
            "not within ±1",
        ),
        (lambda: participants_for_limits_within(-1, sd_between=1, rng=generator()), "`margin`"),
        (
            lambda: simulate_studies(3, 5, sd_between=1, sd_within=1, rng=generator()),
            "at least 4 participants",
        ),
        (
            lambda: simulate_studies(6, 2, sd_between=1, sd_within=1, rng=generator(), margin=0.0),
            "`margin` must be above 0",
        ),
        (
            lambda: simulate_studies(6, 2, sd_between=1, sd_within=1, rng=generator(), n_studies=0),
            "`n_studies`",
        ),
    ],
)
def test_bad_plans_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_simulated_studies_hold_what_single_studies_hold():
    # The same design through `limits_of_agreement`, one study after another.
    rng, hits = generator(4), 0
    people, truth = np.repeat(np.arange(6), 10), 1.959964 * np.hypot(1.0, 1.5)
    for _ in range(400):
        values = rng.standard_normal(6)[people] + 1.5 * rng.standard_normal(60)
        low, high = limits_of_agreement(values, people).upper_ci
        hits += low <= truth <= high
    found = simulate_studies(6, 10, sd_between=1.0, sd_within=1.5, rng=generator(5))
    assert_allclose(found.coverage_of_limit, hits / 400, atol=0.035)
    assert np.isnan(found.share_inside)


def test_the_arms_of_the_interval_are_told_apart():
    found = simulate_studies(8, 1, sd_between=1.0, sd_within=0.0, margin=2.0, rng=generator())
    inner, outer = exact_factors(8)
    z, mean_sd = stats.norm.ppf(0.975), 0.965030  # c4(8), NIST/SEMATECH e-Handbook 6.3.2
    assert_allclose(found.inner_arm, (z - inner) * mean_sd, rtol=0.01)
    assert_allclose(found.outer_arm, (outer - z) * mean_sd, rtol=0.01)
    assert_allclose(found.mean_half_width, (found.inner_arm + found.outer_arm) / 2)
    assert "away from it" in found.summary("°")
    assert "undecided in" in found.summary("°")
