"""A drift that clocks do not have is warned of, or refused unless the study states it."""

from types import SimpleNamespace

import numpy as np
import pytest

from twinangle.analysis.clock import UNUSUAL_DRIFT_PPM, place_reference, with_clock_warnings
from twinangle.errors import SynchronisationError
from twinangle.signals.timing import Breaks
from twinangle.study.settings import SynchronisationSettings


def place(walking, drift_ppm, **settings):
    drawn = walking.PairSettings(overlap_s=40.0, drift_ppm=drift_ppm, time_cv=0.02)
    angle, reference = walking.make_pair(np.random.default_rng(3), drawn)
    study = SimpleNamespace(
        synchronisation=SynchronisationSettings(max_lag_s=5.0, **settings),
        options=SimpleNamespace(confidence=0.95),
        reference=SimpleNamespace(zero_at_standing=False),
    )
    trial = SimpleNamespace(start_s=None, end_s=None, functional=None, static=None)
    signals = SimpleNamespace(reference=reference, sensors=None, breaks=(Breaks(), Breaks()))
    clock, _ = place_reference(study, trial, signals, SimpleNamespace(angle=angle))
    return with_clock_warnings(study, clock, clock, None)[0]


def test_an_ordinary_drift_passes_without_a_word(walking):
    clock = place(walking, 100.0)

    assert clock.drift_ppm == pytest.approx(100, abs=25)
    assert clock.warnings == ()


def test_a_drift_beyond_crystals_is_warned_of_with_its_interval(walking):
    (text,) = place(walking, -500.0).warnings

    assert "the clocks drift by -" in text
    assert f"above {UNUSUAL_DRIFT_PPM:g} ppm" in text
    assert "the reference's would be 1.0005 times what it says" in text
    assert "or the wearable's 0.9995 times; which of the two is not told by the pair" in text


def test_a_drift_beyond_any_clock_is_refused_unless_stated(walking):
    with pytest.raises(SynchronisationError, match=r"more than 1000: .* state `max_drift_ppm`"):
        place(walking, 1906.0)

    clock = place(walking, 1906.0, max_drift_ppm=2500.0)

    assert clock.drift_ppm == pytest.approx(1906, abs=40)
    assert "crystals hardly do that" in clock.warnings[0]
