import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from twinangle import planned_ratio
from twinangle.planned_ratio import _effect, _power, participants_for_sd_ratio


def test_without_error_of_the_sds_the_size_is_statsmodels(monkeypatch):
    # Studies that succeed as the paired t test does, drawn from it: the search must find its size.
    def shown(rng, n, ratio, sd_log_ratio, cycles, confidence):
        logs = np.log(ratio) + sd_log_ratio * rng.standard_normal(n)
        return stats.ttest_1samp(logs, 0).confidence_interval(confidence).low > 0

    monkeypatch.setattr(planned_ratio, "_shown", shown)
    plan = participants_for_sd_ratio(
        1.3, sd_log_ratio=0.4, cycles=(500, 500), rng=np.random.default_rng(1), n_studies=500
    )
    exact = TTestPower().solve_power(np.log(1.3) / 0.4, power=0.8, alpha=0.05)
    assert abs(plan.n - exact) < 2.5
    assert plan.reached >= 0.8


@pytest.mark.parametrize("n", [4, 12, 60])
@pytest.mark.parametrize("share", [0.1, 0.8, 0.995])
def test_a_share_is_turned_into_its_effect_size(n, share):
    assert _power(_effect(share, n, 0.95), n, 0.95) == pytest.approx(share, abs=1e-4)


def test_fewer_cycles_take_more_people():
    sizes = [
        participants_for_sd_ratio(
            1.4, sd_log_ratio=0.1, cycles=cycles, rng=np.random.default_rng(2), n_studies=40
        ).n
        for cycles in ((40, 40), (40, 6))
    ]
    assert sizes[1] > 1.3 * sizes[0]


def test_a_plain_case_needs_the_fewest_that_are_allowed():
    plan = participants_for_sd_ratio(
        4.0, sd_log_ratio=0.05, cycles=(30, 30), rng=np.random.default_rng(2), n_studies=20
    )
    assert plan.n == 4
    assert plan.reached > 0.95
