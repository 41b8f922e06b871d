"""The blockwise normalised correlation against a plain loop, and against numpy."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import correlation
from twinangle.clocks.correlation import normalised_correlation, parabola_offset


def by_loop(first, second, lowest, highest, least):
    """Correlate the finite pairs at each lag with numpy.corrcoef: the reference library."""
    out = []
    for lag in range(lowest, highest + 1):
        index = np.arange(max(0, -lag), min(second.size, first.size - lag))
        x, y = first[index + lag], second[index]
        both = np.isfinite(x) & np.isfinite(y)
        enough = both.sum() >= least
        out.append(np.corrcoef(x[both], y[both])[0, 1] if enough else np.nan)
    return np.array(out)


@pytest.mark.parametrize("seed", range(4))
def test_equals_numpy_at_every_lag(monkeypatch, seed):
    monkeypatch.setattr(correlation, "_BLOCK", 256)  # several blocks even on short signals
    rng = np.random.default_rng(seed)
    first = 1000 + np.cumsum(rng.standard_normal(int(rng.integers(300, 900))))
    second = -20 + np.cumsum(rng.standard_normal(int(rng.integers(300, 900))))
    first[rng.random(first.size) < 0.1] = np.nan
    second[200:260] = np.nan
    lowest, highest = -150 - int(rng.integers(50)), 120

    found = normalised_correlation(first, second, lowest, highest, 50)

    expected = by_loop(first, second, lowest, highest, 50)
    assert_allclose(found.correlation, expected, atol=1e-9)


def test_constant_stretch_has_no_correlation():
    found = normalised_correlation(np.ones(100), np.arange(100.0), -5, 5, 10)

    assert np.isnan(found.correlation).all()


def test_parabola_finds_the_top_of_a_parabola():
    assert_allclose(parabola_offset(*(-((x - 0.3) ** 2) for x in (-1, 0, 1))), 0.3)
    assert parabola_offset(1.0, 1.0, 1.0) == 0.0
