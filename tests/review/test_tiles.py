"""The law of the pyramid: at every scale no sample's extreme and no gap is lost."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.review.tiles import BUCKETS, FACTOR, LEVELS, build_pyramid

samples = st.lists(
    st.one_of(st.floats(-200, 200, width=32), st.just(float("nan"))), min_size=1, max_size=600
)


def runs_of(pyramid, level):
    """Every bucket of one scale, from its tiles as they are sent."""
    found = []
    for index in range(1 + (pyramid.size - 1) // (FACTOR**level * BUCKETS)):
        values = np.frombuffer(pyramid.tile(level, index), dtype="<f4")
        found.append(values.reshape(3, -1))
    return np.concatenate(found, axis=1)


@given(samples)
def test_every_extreme_and_every_gap_is_in_every_scale(values):
    given_values = np.array(values, dtype=np.float32)
    pyramid = build_pyramid(given_values, start_s=0.0, rate_hz=100.0)
    for level in range(LEVELS):
        least, largest, gap = runs_of(pyramid, level)
        width = FACTOR**level
        for k in range(least.size):
            part = given_values[k * width : (k + 1) * width]
            there = part[np.isfinite(part)]
            assert gap[k] == pytest.approx(np.isnan(part).mean(), abs=1e-6)
            assert (gap[k] > 0) == np.isnan(part).any()
            if there.size:
                assert least[k] == there.min()
                assert largest[k] == there.max()
            else:
                assert np.isnan(least[k])
                assert np.isnan(largest[k])


def test_a_gap_of_one_sample_in_hours_is_seen_at_the_coarsest_scale():
    values = np.zeros(8 * 3600 * 200 // 8)
    values[123_456], values[400_000] = np.nan, 90.0
    pyramid = build_pyramid(values, start_s=0.0, rate_hz=200.0)
    width = FACTOR ** (LEVELS - 1)
    _, largest, gap = runs_of(pyramid, LEVELS - 1)
    assert np.flatnonzero(gap).tolist() == [123_456 // width]
    assert np.flatnonzero(largest == 90.0).tolist() == [400_000 // width]


def test_the_address_changes_with_the_content_and_the_clock():
    values = np.arange(10.0)
    first = build_pyramid(values, start_s=0.0, rate_hz=100.0).digest
    assert build_pyramid(values.copy(), start_s=0.0, rate_hz=100.0).digest == first
    assert build_pyramid(values + 1e-3, start_s=0.0, rate_hz=100.0).digest != first
    assert build_pyramid(values, start_s=0.5, rate_hz=100.0).digest != first
    assert build_pyramid(values, start_s=0.0, rate_hz=200.0).digest != first


@pytest.mark.parametrize(("level", "index"), [(-1, 0), (LEVELS, 0), (0, -1), (0, 1), (3, 9)])
def test_a_tile_that_is_not_there_is_refused(level, index):
    with pytest.raises(IndexError, match="no tile"):
        build_pyramid(np.zeros(100), start_s=0.0, rate_hz=100.0).tile(level, index)
