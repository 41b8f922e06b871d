"""NIST/SEMATECH handbook 7.2.6.3: one-sided tolerance factors.

Kinds: second-hand.
"""

import pytest

from twinangle.agreement._intervals import exact_limit_factors


@pytest.mark.parametrize("n", [10, 20, 30])
def test_one_sided_tolerance_factor(n, published):
    # 95 % confidence that 95 % lie below: z = 1.645, which is coverage 0.90 two-sided.
    outer = exact_limit_factors(n, confidence=0.90, coverage=0.90)[1]
    published("nist-handbook", f"factor for {n}").check(outer, slack=5e-4)  # an approximation there
