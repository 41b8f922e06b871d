"""What cannot be synchronised is refused, with a message that says why and what to do."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import manual, shared_clock, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording


@pytest.fixture
def pair(walking):
    drawn = walking.PairSettings(time_cv=0.025, slow_drift_deg=0.5, stride_error_deg=0.5)
    return walking.make_pair(np.random.default_rng(2), drawn)


def refuse(match: str):
    return pytest.raises(SynchronisationError, match=match)


def test_clocks_that_do_not_overlap(pair):
    wearable, reference = pair
    with refuse(r"reference\.csv from 500\.000 .*`max_lag_s` = 30 s"):
        synchronise(wearable, replace(reference, start_s=500.0))


def test_constant_signal_names_file_and_value(pair):
    wearable, reference = pair
    still = replace(reference, angle_deg=np.full(reference.angle_deg.size, 12.5))
    with refuse(r"reference\.csv: the reference angle is constant at 12\.5"):
        synchronise(wearable, still)


def test_too_short(pair):
    wearable, reference = pair
    with refuse(r"wearable\.csv: .* too short .* 150 samples"):
        synchronise(replace(wearable, angle_deg=wearable.angle_deg[:150]), reference)


def test_all_missing(pair):
    wearable, reference = pair
    with refuse("too short to synchronise: 0 samples"):
        synchronise(replace(wearable, angle_deg=np.full(4000, np.nan)), reference)


def test_inverted_reference_names_the_key(pair):
    wearable, reference = pair
    with refuse(r"key `sign` of `\[reference\]`"):
        synchronise(wearable, replace(reference, angle_deg=-reference.angle_deg))


def test_peak_at_the_edge_names_max_lag(pair):
    wearable, reference = pair
    lag_s = round(synchronise(wearable, reference).lag_s, 1)
    where = f"Write {lag_s} into this recording's row of the trials table, in a column"
    with refuse(rf"within `max_lag_s` \(0\.3 s\).*outside the search.*{where} `expected_lag_s`"):
        synchronise(wearable, reference, max_lag_s=0.3, expected_lag_s=2.8)


def test_clocks_that_began_together_name_the_lag_to_write(pair):
    wearable, reference = pair
    start_s = wearable.start_s + 5000.0
    with refuse(r"If both were started together, write -5000\.0 into this recording's row"):
        synchronise(wearable, replace(reference, start_s=start_s))


def test_two_unrelated_recordings(pair):
    wearable, _ = pair
    noise = np.cumsum(np.random.default_rng(3).standard_normal(5000))
    with refuse("do not resemble each other"):
        synchronise(wearable, AngleRecording(noise, 0.0, 100.0, "other.csv"))


@pytest.mark.parametrize("max_lag_s", [0.0, -1.0, float("nan")])
def test_max_lag_must_be_positive(pair, max_lag_s):
    with pytest.raises(ValueError, match="`max_lag_s` must be above 0"):
        synchronise(*pair, max_lag_s=max_lag_s)


def test_shared_and_manual_clocks():
    times = np.array([0.0, 1000.0])
    np.testing.assert_array_equal(shared_clock().to_wearable(times), times)
    np.testing.assert_allclose(manual(2.0, 100.0).to_wearable(times), [2.0, 1002.1])
    with pytest.raises(ValueError, match="`drift_ppm` must lie within"):
        manual(0.0, 1e5)
    with pytest.raises(ValueError, match="`lag_s` must be a finite number"):
        manual(float("nan"))
