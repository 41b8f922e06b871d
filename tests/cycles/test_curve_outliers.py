"""The rule for curve outliers at its hardest: variation of one shape, so skewed distances."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

BENCHMARK = Path(__file__).resolve().parents[2] / "benchmarks" / "curve_outliers.py"


@pytest.fixture(scope="module")
def rule():
    spec = importlib.util.spec_from_file_location("curve_outliers_benchmark", BENCHMARK)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("n", [50, 150])
def test_ordinary_cycles_stay_and_stumbles_go(rule, n):
    rng = np.random.default_rng(n)

    walks = [rule.one_walk(rng, n, 1e6) for _ in range(150)]

    # with 5 robust SDs instead of 6 one walk in twelve lost an ordinary cycle
    assert np.mean([count > 0 for count, _ in walks]) < 0.05
    assert np.mean([found for _, found in walks]) > 0.9


def test_the_same_cycles_are_odd_in_any_unit_and_about_any_zero(rule):
    rng = np.random.default_rng(7)
    curves = rule.KNEE + 4 * rng.standard_t(3, (60, 1)) * rule.SWING
    odd = rule.dropped(curves)

    assert odd.any()
    np.testing.assert_array_equal(rule.dropped(0.01 * curves - 12.0), odd)
    np.testing.assert_array_equal(rule.dropped(-curves[::-1])[::-1], odd)
