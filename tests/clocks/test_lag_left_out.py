"""A `max_lag_s` that leaves out the true lag: the best of wrong strides is not taken for it.

Two devices that deliver angles, of one simulated walk: nobody was recorded.
"""

import pytest

from twinangle.clocks import synchronise
from twinangle.errors import SynchronisationError
from twinangle.notices import gravity_of
from twinangle.simulate import ReferenceErrors, WalkSettings
from twinangle.simulate.together import Instrument, simulate_together

LAG_S = 3.0
SETTINGS = WalkSettings(walk_s=20.0, stride_s=1.1, straight_m=40.0, stride_cv=0.02)
DEVICES = {
    "first": Instrument(0.0, 0.0, 100.0, ReferenceErrors(1.0, 2.0, noise_deg=0.3)),
    "second": Instrument(LAG_S, 20.0, 100.0, ReferenceErrors(1.02, 0.0, noise_deg=0.3)),
}


@pytest.fixture(scope="module")
def angles():
    walk = simulate_together(seed=0, settings=SETTINGS, devices={}, references=DEVICES)
    return walk.references["first"], walk.references["second"]


@pytest.mark.parametrize("max_lag_s", [1.0, 1.5, 2.0])
def test_the_lag_outside_is_named_with_the_number_to_write(angles, max_lag_s):
    said = rf"within `max_lag_s` \({max_lag_s:g} s\).*\+3\.00 s, outside the search.* Write 3\.0 "
    with pytest.raises(SynchronisationError, match=said):
        synchronise(*angles, max_lag_s=max_lag_s)


def test_asked_not_to_refuse_it_warns_gravely(angles):
    clock = synchronise(*angles, max_lag_s=1.0, refuse=False)
    assert gravity_of(clock.warnings[0]) == "grave"
    assert "+3.00 s, outside the search" in clock.warnings[0]


@pytest.mark.parametrize(("expected_lag_s", "max_lag_s"), [(0.0, 3.5), (2.9, 0.4), (2.0, 1.5)])
def test_a_search_that_holds_it_is_not_refused(angles, expected_lag_s, max_lag_s):
    clock = synchronise(*angles, expected_lag_s=expected_lag_s, max_lag_s=max_lag_s)
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.02)
