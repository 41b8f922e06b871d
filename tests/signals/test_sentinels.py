"""A number that stands for missing values is named, with its share and the remedy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.errors import RecordingError
from twinangle.signals.recording import Recording
from twinangle.signals.sentinels import refuse_sentinels, sentinel

RNG = np.random.default_rng(3)
TIME = np.arange(1000) / 100
KNEE = 30 - 30 * np.cos(2 * np.pi * TIME) + RNG.normal(0, 0.3, TIME.size)


def with_missing(value, every=40, signal=KNEE):
    changed = signal.copy()
    changed[5::every] = value
    return changed


@pytest.mark.parametrize("value", [-9999.0, 9999.0, 999.0, -999.0, 32767.0, -32768.0])
@pytest.mark.parametrize("every", [3, 40, 499])
def test_usual_ones_are_found(value, every):
    changed = with_missing(value, every)
    assert sentinel(changed) == (value, int((changed == value).sum()))


@pytest.mark.parametrize(
    "values",
    [
        KNEE,
        np.clip(KNEE, None, 45.0),  # saturated
        with_missing(0.0, signal=KNEE + 20),  # lost packets written as zeros: told elsewhere
        np.where(np.arange(1000) == 7, 9999.0, KNEE),  # one spike
        with_missing(np.nan),
        np.zeros(1000),
        with_missing(0.0, signal=9.81 + 0.01 * KNEE / 60),  # standing, with lost packets
        np.where(np.arange(1000) > 900, 5.0, 0.001 * KNEE),  # a noisy trigger
        np.tile([0.0, 5.0], 500),  # a trigger
        np.repeat([0.0, 5.0], [990, 10]),
        np.full(1000, np.nan),
    ],
)
def test_what_is_none_passes(values):
    assert sentinel(values) is None


@given(scale=st.floats(1e-3, 1e3), shift=st.floats(-10, 10), every=st.integers(3, 300))
def test_the_unit_of_the_rest_does_not_matter(scale, shift, every):
    """Metres or millimetres, g or m/s²: as long as the number lies far outside."""
    changed = with_missing(-9_999_999.0, every, scale * (KNEE + shift))
    assert sentinel(changed) is not None


def test_the_message_names_channel_value_share_and_remedy():
    values = np.column_stack([with_missing(-9999.0), KNEE, with_missing(-9999.0, 20)])
    recording = Recording(TIME, values, ("a", "b", "c"), ("", "", ""), "walk.csv")
    with pytest.raises(RecordingError) as caught:
        refuse_sentinels(recording, ["b", "a", "c"])
    said = str(caught.value)
    assert "walk.csv: channel 'c' (likewise in 1 more) holds -9999 in 50 samples (5 %)" in said
    assert "stand for missing values" in said
    assert "empty cells" in said
