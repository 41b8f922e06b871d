"""Lu et al. (2016): participants for limits of agreement within a margin.

Kinds: from memory, the example as well as its answer.
"""

import numpy as np
from scipy import stats

from twinangle.agreement import limits_power, participants_for_limits_within
from twinangle.agreement.planning import _probability_inside

EXAMPLE = {"bias": 0.001167, "sd": 0.001129}  # margin 0.004, alpha 0.05, power 0.80


def approximate_power(n: int) -> float:
    """The paper's interval: t quantile times Bland & Altman's approximate standard error."""
    z = stats.norm.ppf(0.975)
    factor = z + stats.t.ppf(0.975, n - 1) * np.sqrt(1 / n + z**2 / (2 * (n - 1)))
    return _probability_inside(n, 0.004, EXAMPLE["bias"], EXAMPLE["sd"], factor)


def test_the_example_with_the_papers_approximate_interval(published):
    fewest = next(n for n in range(10, 200) if approximate_power(n) >= 0.80)
    published("lu-2016", "participants").check(fewest)


def test_the_exact_interval_needs_more(published):
    result = participants_for_limits_within(0.004, power=0.8, **EXAMPLE)
    assert result.n > published("lu-2016", "participants").value
    assert limits_power(result.n - 1, 0.004, **EXAMPLE) < 0.8 <= result.reached
