"""Lu et al. (2016): participants for limits of agreement within a margin.

Kinds: from memory, the example as well as its answer.
"""

import numpy as np
import pytest
from scipy import special, stats

from twinangle.agreement import participants_for_limits_within

BIAS, SD, MARGIN = 0.001167, 0.001129, 0.004  # the paper's example; alpha 0.05, power 0.80
NODES, WEIGHTS = np.polynomial.legendre.leggauss(300)


def power(n, factor):
    """Return the probability that mean ± factor SD lies within the margin, by quadrature."""
    spread = SD * np.sqrt(stats.chi2.ppf((NODES + 1) / 2, n - 1) / (n - 1))
    above, below = (
        special.ndtr((side * (MARGIN - factor * spread) - BIAS) / (SD / np.sqrt(n)))
        for side in (1, -1)
    )
    return WEIGHTS @ np.maximum(above - below, 0) / 2


def approximate_factor(n):
    """The paper's interval: t quantile times Bland & Altman's approximate standard error."""
    z = stats.norm.ppf(0.975)
    return z + stats.t.ppf(0.975, n - 1) * np.sqrt(1 / n + z**2 / (2 * (n - 1)))


def exact_factor(n):
    """The exact interval's (Carkeet 2015), from scipy's noncentral t."""
    shift = stats.norm.ppf(0.975) * np.sqrt(n)
    return stats.nct.ppf(0.975, n - 1, shift) / np.sqrt(n)


def test_the_example_with_the_papers_approximate_interval(published):
    fewest = next(n for n in range(10, 200) if power(n, approximate_factor(n)) >= 0.80)
    published("lu-2016", "participants").check(fewest)


@pytest.mark.parametrize("seed", [20, 21])
def test_the_plan_agrees_with_the_quadrature_for_the_exact_interval(seed):
    plan = participants_for_limits_within(
        MARGIN, sd_between=SD, bias=BIAS, rng=np.random.default_rng(seed)
    )
    off = 4 * plan.standard_error
    assert plan.n > 83  # the exact interval is wider than the approximate one
    assert abs(plan.reached - power(plan.n, exact_factor(plan.n))) < off
    assert power(plan.n - 1, exact_factor(plan.n - 1)) < 0.8 + off
