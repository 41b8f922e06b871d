import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.agreement import limits_of_agreement, limits_of_many


def expected(column: np.ndarray, people: np.ndarray | None) -> dict[str, float]:
    one = limits_of_agreement(column, people)
    found = {name: getattr(one, name) for name in ("bias", "sd", "lower", "upper")}
    for name in ("bias_ci", "lower_ci", "upper_ci"):
        found[f"{name}_low"], found[f"{name}_high"] = getattr(one, name)
    return found


@given(st.integers(0, 2**32 - 1), st.integers(4, 9))
def test_each_column_is_as_by_itself(seed, k):
    rng = np.random.default_rng(seed)
    people = rng.permutation(np.repeat(np.arange(k), rng.integers(1, 7, k)))
    values = rng.exponential(size=(k, 3))[people] + rng.standard_normal((people.size, 3))
    table = limits_of_many(values, people)
    for i in range(3):
        for name, value in expected(values[:, i], people).items():
            assert_allclose(table[name][i], value, rtol=1e-7, atol=1e-9, err_msg=name)


def test_one_pair_each_has_the_exact_intervals():
    values = np.random.default_rng(1).standard_normal((12, 4))
    table = limits_of_many(values)
    for i in range(4):
        for name, value in expected(values[:, i], None).items():
            assert_allclose(table[name][i], value, err_msg=name)


def test_columns_without_spread_do_not_disturb_the_others():
    values = np.random.default_rng(2).standard_normal((10, 2))
    values[:, 0] = 3.0
    table = limits_of_many(values, np.repeat(np.arange(5), 2))
    assert table["upper_ci_high"][0] == 3.0
    assert np.isfinite(table).all(axis=None)


def test_too_few_participants_are_named():
    with pytest.raises(ValueError, match="at least 4 participants are needed, got 3"):
        limits_of_many(np.ones((6, 2)), [1, 1, 2, 2, 3, 3])
