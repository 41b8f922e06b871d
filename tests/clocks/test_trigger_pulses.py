"""One clock from trigger pulses."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import lag_by_trigger, lag_interval
from twinangle.errors import SynchronisationError


def channel(edges_s, rate_hz, length_s, start_s=0.0, low=0.1, high=4.9):
    time = start_s + np.arange(int(length_s * rate_hz)) / rate_hz
    values = np.full(time.size, low)
    for edge in edges_s:
        values[(time >= edge) & (time < edge + 0.2)] = high
    return time, values


def test_one_pulse_gives_the_lag_within_the_sample_intervals():
    clock = lag_by_trigger(channel([12.3456], 100, 30), channel([5.1111], 1000, 30))

    assert_allclose(clock.lag_s, 7.2345, atol=0.006)
    assert clock.drift_ppm == 0
    assert_allclose(clock.lag_se_s, np.hypot(0.01, 0.001) / np.sqrt(12), rtol=0.01)
    assert "one trigger pulse" in clock.warnings[0]


def test_uneven_train_with_a_pulse_missed_gives_lag_and_drift():
    rng = np.random.default_rng(4)
    reference = np.cumsum(rng.uniform(2, 9, 60))
    wearable = reference * (1 + 80e-6) - 4.2
    clock = lag_by_trigger(
        channel(wearable[5:], 500, 400), channel(np.delete(reference, 20), 1000, 400)
    )

    assert_allclose(clock.lag_s, -4.2, atol=4 * clock.lag_se_s)
    assert_allclose(clock.drift_ppm, 80, atol=4 * clock.drift_se_ppm)
    assert clock.drift_se_ppm < 3


def test_even_trains_of_unlike_length_are_refused_unless_the_lag_is_bounded():
    wearable, reference = np.arange(3, 20, 1.0), np.arange(1, 28, 1.0)
    channels = channel(wearable, 200, 40), channel(reference, 200, 40)

    with pytest.raises(SynchronisationError, match="match in more than one way"):
        lag_by_trigger(*channels)
    assert_allclose(lag_by_trigger(*channels, max_lag_s=0.4).lag_s, 0.0, atol=0.005)


def test_a_logger_that_skipped_between_pulses_is_warned_of():
    pulses = np.arange(2.0, 62.0, 3.0) + 0.1 * np.random.default_rng(9).random(20)
    skipped = np.where(pulses > 30, pulses - 0.04, pulses)  # 40 ms lost at 30 s

    clock = lag_by_trigger(channel(skipped, 1000, 80), channel(pulses, 1000, 80), max_lag_s=1.0)
    sound = lag_by_trigger(channel(pulses, 1000, 80), channel(pulses, 1000, 80), max_lag_s=1.0)

    assert not sound.warnings
    assert len(clock.warnings) == 1
    step = re.search(r"step by (-?\d+) ms between ([\d.]+) and ([\d.]+) s", clock.warnings[0])
    assert step is not None
    assert abs(int(step[1]) + 40) <= 1
    assert float(step[2]) < 30 < float(step[3])


@pytest.mark.parametrize("n", [1, 2, 12])
def test_interval_of_the_lag_holds_the_truth(n):
    """Edges fall anywhere between two samples: the interval must hold the lag nearly always."""
    rng = np.random.default_rng(n)
    held = 0
    for _ in range(60):
        pulses = 8 + np.cumsum(rng.uniform(1, 4, n))
        lag = rng.uniform(-5, 5)
        clock = lag_by_trigger(
            channel(pulses + lag, 100, 70), channel(pulses, 100, 70), max_lag_s=6.0
        )
        interval = lag_interval(clock)
        held += interval.start_s <= lag <= interval.end_s
    assert held >= 51  # binomial(60, 0.95) lies above in 99.9 % of cases


def test_no_edge_is_refused():
    time = np.arange(100) / 100
    with pytest.raises(SynchronisationError, match="channel of the wearable is constant"):
        lag_by_trigger((time, np.zeros(100)), (time, np.ones(100)))
    with pytest.raises(SynchronisationError, match="reference has no rising edge"):
        lag_by_trigger(channel([0.5], 100, 1), (time, np.linspace(1, 0, 100)))
    with pytest.raises(ValueError, match="100 times for 5 values"):
        lag_by_trigger((time, np.zeros(5)), (time, np.ones(100)))
