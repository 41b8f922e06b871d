"""What a study does with the gyroscopes' lag."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.analysis.clock import take_gyroscopes, with_clock_warnings
from twinangle.clocks import shared_clock, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording
from twinangle.simulate import simulate_walk
from twinangle.study.settings import SynchronisationSettings

WHOLE = SimpleNamespace(start_s=None, end_s=None)


def study(**settings):
    return SimpleNamespace(
        synchronisation=SynchronisationSettings(**settings),
        options=SimpleNamespace(confidence=0.95),
    )


def check_by_gyroscopes(study, trial, signals, reference, clock):
    """Take both steps: what is measured, then what a confidence enters."""
    chosen, found = take_gyroscopes(study, trial, signals, reference, clock)
    return (chosen, found) if chosen is None else with_clock_warnings(study, chosen, clock, found)


@pytest.fixture(scope="module")
def delayed():
    """A trial whose procedure delays the angle by 20 ms, and its clock."""
    walk = simulate_walk(rng=np.random.default_rng(5), lag_s=1.0, drift_ppm=0.0)
    knee = walk.truth.knee
    angle = np.interp(knee.time_s - 0.02, knee.time_s, knee.angle_deg)
    clock = synchronise(AngleRecording(angle, 0.0, knee.rate_hz, "delayed"), walk.reference)
    return SimpleNamespace(sensors=walk.sensors), walk.reference, clock


def test_a_disagreement_is_said_and_recorded(delayed):
    signals, reference, clock = delayed

    checked, record = check_by_gyroscopes(study(), WHOLE, signals, reference, clock)

    assert_allclose(checked.lag_s, clock.lag_s)
    assert len(checked.warnings) == len(clock.warnings) + 1
    assert "+20.0 ms" in checked.warnings[-1]
    assert 'signal = "gyroscope"' in checked.warnings[-1]
    assert_allclose(record.difference_s, 0.02, atol=5e-4)
    assert record.disagree is True


def test_the_study_may_ask_for_the_gyroscopes_lag(delayed):
    signals, reference, clock = delayed

    chosen, _ = check_by_gyroscopes(study(signal="gyroscope"), WHOLE, signals, reference, clock)

    assert_allclose(chosen.to_wearable(np.array(60.0)), 61.0, atol=5e-4)
    assert "part of the difference reported" in chosen.warnings[-1]


def test_an_angle_that_is_not_late_draws_no_warning(delayed):
    signals, reference, clock = delayed
    right = replace(clock, lag_s=clock.lag_s - 0.02)

    checked, record = check_by_gyroscopes(study(), WHOLE, signals, reference, right)

    assert checked.warnings == clock.warnings
    assert record.disagree is False


def test_a_check_that_fails_is_said(delayed):
    _, reference, clock = delayed
    other = simulate_walk(rng=np.random.default_rng(12), stride_s=0.9)

    checked, record = check_by_gyroscopes(
        study(), WHOLE, SimpleNamespace(sensors=other.sensors), reference, clock
    )

    assert "could not be checked by the gyroscopes" in checked.warnings[-1]
    assert record.reason
    with pytest.raises(SynchronisationError):
        check_by_gyroscopes(
            study(signal="gyroscope"),
            WHOLE,
            SimpleNamespace(sensors=other.sensors),
            reference,
            clock,
        )


def test_without_sensors_or_reference_there_is_nothing_to_check(delayed):
    _, reference, clock = delayed

    assert check_by_gyroscopes(study(), WHOLE, SimpleNamespace(sensors=None), reference, clock) == (
        clock,
        None,
    )
    assert check_by_gyroscopes(study(), WHOLE, SimpleNamespace(sensors=None), None, None) == (
        None,
        None,
    )
    with pytest.raises(SynchronisationError, match="needs the raw gyroscopes of both sensors"):
        check_by_gyroscopes(
            study(signal="gyroscope"), WHOLE, SimpleNamespace(sensors=None), reference, clock
        )


def test_a_known_clock_is_not_blamed_on_the_procedure(delayed):
    signals, reference, _ = delayed
    on_one_clock = replace(reference, start_s=reference.start_s + 1.02)

    checked, _ = check_by_gyroscopes(
        study(method="shared-clock"), WHOLE, signals, on_one_clock, shared_clock()
    )

    assert "The instruments differ by a delay" in checked.warnings[-1]


def test_gyroscopes_do_not_go_with_a_known_clock():
    with pytest.raises(ValueError, match="goes with the methods that find the lag"):
        SynchronisationSettings(method="shared-clock", signal="gyroscope")


def test_events_of_a_study_must_not_overlap():
    with pytest.raises(ValueError, match="overlap"):
        SynchronisationSettings(method="event", events_s=((8, 12), (3, 9)))
