import numpy as np
import pytest
from numpy.testing import assert_array_equal

from twinangle.plotting.thinning import envelope, joined, thinned


@pytest.mark.parametrize("n", [10, 2399, 2400, 2401, 100_003])
def test_envelope_keeps_extremes_and_order(n):
    rng = np.random.default_rng(n)
    time, values = np.arange(n) / 100, rng.normal(size=n).cumsum()
    x, y = envelope(time, values)
    assert x.size == y.size <= max(2400, 0)
    assert (y.min(), y.max()) == (values.min(), values.max())
    assert np.all(np.diff(x) > 0)
    assert time[0] <= x[0]
    assert x[-1] <= time[-1]


def test_envelope_keeps_gaps():
    values = np.ones(50_000)
    values[10_000:20_000] = np.nan
    x, y = envelope(np.arange(50_000.0), values)
    inside = (x > 10_100) & (x < 19_900)
    assert np.isnan(y[inside]).all()
    outside = y[(x < 9_900) | (x > 20_100)]
    assert outside.size > 100
    assert (outside == 1).all()


def test_joined_curves_lift_the_pen_between_cycles():
    x, y = joined(np.arange(12.0).reshape(3, 4))
    assert np.isnan(y[4::5]).all()
    assert_array_equal(y.reshape(3, 5)[:, :4], np.arange(12.0).reshape(3, 4))
    assert np.isnan(x).sum() == 3


def test_thinning_keeps_the_ends():
    rows = thinned(np.arange(1000), 120)
    assert rows.size == 120
    assert (rows[0], rows[-1]) == (0, 999)
