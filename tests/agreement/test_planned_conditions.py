import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from statsmodels.stats.power import TTestPower

from twinangle.agreement import participants_for_sd_ratio
from twinangle.agreement.condition_spread import paired_spread
from twinangle.agreement.conditions import compare_conditions
from twinangle.agreement.planned_conditions import _effect, _power, spread_of_cycles


def plan(ratio, seed=1, **design):
    return participants_for_sd_ratio(ratio, rng=np.random.default_rng(seed), **design)


@pytest.mark.parametrize("cycles", [(12, 12), (7, 30), (30, 7)])
def test_simulated_studies_are_compared_as_a_run_compares(cycles):
    rng, k = np.random.default_rng(3), 6
    base, other = (
        sd * rng.standard_normal((n, k, 2)) for sd, n in zip((1, 1.4), cycles, strict=True)
    )
    found = paired_spread(spread_of_cycles(base, other), 0.9)
    frame = pd.DataFrame(
        {"participant": np.repeat(np.arange(k), 2), "condition": ["base", "other"] * k}
    )
    for study in range(2):
        curves = [values[:, person, study, None] for person in range(k) for values in (base, other)]
        (public,) = compare_conditions(frame, against="base", variability=curves, confidence=0.9)
        bounds = found.log_ratio[study] + np.array([-1, 1]) * found.log_half[study]
        assert_allclose(np.log(public.ratio_ci), bounds, rtol=1e-8)


def test_with_many_cycles_the_size_is_that_of_statsmodels():
    # Hardly any error of the SDs is left: a paired t test of the logarithms of the true ratios.
    found = plan(1.3, sd_log_ratio=0.35, cycles=(400, 400))
    exact = TTestPower().solve_power(np.log(1.3) / 0.35, power=0.8, alpha=0.05)
    assert abs(found.n - exact) < 3
    assert found.reached >= 0.8


def test_planned_studies_keep_what_the_plan_promised():
    found = plan(1.4, sd_log_ratio=0.2, cycles=(25, 8))
    again = plan(1.4, seed=2, sd_log_ratio=0.2, cycles=(25, 8))
    assert abs(found.n - again.n) <= 2
    assert found.summary() == plan(1.4, sd_log_ratio=0.2, cycles=(25, 8)).summary()


@pytest.mark.parametrize("n", [4, 12, 60])
@pytest.mark.parametrize("share", [0.1, 0.8, 0.995])
def test_a_share_is_turned_into_its_effect_size(n, share):
    assert _power(_effect(share, n, 0.95), n, 0.95) == pytest.approx(share, abs=1e-4)


def test_fewer_cycles_take_more_people_in_either_condition():
    many, few, turned = (
        plan(1.4, sd_log_ratio=0.1, cycles=cycles).n for cycles in ((40, 40), (40, 6), (6, 40))
    )
    assert min(few, turned) > 1.3 * many


def test_a_plain_case_needs_the_fewest_that_are_allowed():
    found = plan(4.0, sd_log_ratio=0.05, cycles=(30, 30))
    assert found.n == 4
    assert found.reached > 0.95
    assert plan(0.25, sd_log_ratio=0.05, cycles=(30, 30)).n == 4
