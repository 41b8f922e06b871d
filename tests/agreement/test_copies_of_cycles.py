"""Copies of a participant's cycles are no further people: no interval over participants shrinks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.agreement import (
    difference_along_cycle,
    equivalence_test,
    functional_limits,
    limits_without_reference_error,
    percentile_limits,
    ratio_limits,
)

seeds, copies = st.integers(0, 2**32 - 1), st.integers(2, 6)


def study(seed, k=7):
    rng = np.random.default_rng(seed)
    people = np.repeat(np.arange(k), rng.integers(3, 9, k))
    return 1 + rng.standard_normal(k)[people] + rng.standard_normal(people.size), people


def tiled(values, people, n):
    return np.tile(values, n), np.tile(people, n)


@given(seeds, copies)
def test_equivalence_and_limits_without_reference_error(seed, n):
    values, people = study(seed)
    many, labels = tiled(values, people, n)
    once, more = equivalence_test(values, 3.0, people), equivalence_test(many, 3.0, labels)
    assert more.verdict == once.verdict
    assert_allclose(more.inside_from, once.inside_from)
    first = limits_without_reference_error(values, 0.2, people)
    second = limits_without_reference_error(many, 0.2, labels)
    assert_allclose(second.upper_ci, first.upper_ci)


@given(seeds, copies)
def test_ratios(seed, n):
    values, people = study(seed)
    test, reference = np.exp(values / 10), np.ones_like(values)
    once = ratio_limits(test, reference, people)
    more = ratio_limits(np.tile(test, n), np.tile(reference, n), np.tile(people, n))
    assert_allclose(more.upper_ci, once.upper_ci)


@pytest.mark.parametrize("n", [2, 5])
def test_percentiles_and_curves(n):
    values, people = study(3)
    once, more = (percentile_limits(*pair) for pair in ((values, people), tiled(values, people, n)))
    assert np.diff(more.median_ci) >= np.diff(once.median_ci) - 1e-12
    curves = values[:, None] + np.random.default_rng(1).standard_normal((people.size, 15))
    given_, copied = (curves, 0 * curves, people), (
        np.tile(curves, (n, 1)), np.tile(0 * curves, (n, 1)), np.tile(people, n),
    )  # fmt: skip
    assert_allclose(
        functional_limits(*copied).bias_band.upper, functional_limits(*given_).bias_band.upper
    )
    first = difference_along_cycle(*given_, rng=np.random.default_rng(2))
    second = difference_along_cycle(*copied, rng=np.random.default_rng(2))
    assert_allclose(second.p_adjusted, first.p_adjusted)
