"""One clock from a jump at start and end of perfectly periodic walking."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import event, find_events, synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording, InertialRecording, Interval

LAG_S, DRIFT_PPM, LENGTH_S = 6.7, 90.0, 120.0
JUMPS_S = (10.0, 108.0)  # take-off on the wearable's clock


def knee(walking, time):
    """Standing, a jump, periodic walking, a jump: degrees at times of the wearable's clock."""
    walks = 0.5 * (np.tanh((time - 20) / 0.4) - np.tanh((time - 100) / 0.4))
    angle = 5 + (walking.stylised_knee(time / 1.1) - 3) * walks
    for jump, depth in zip(JUMPS_S, (85, 95), strict=True):
        angle += depth * np.exp(-0.5 * ((time - jump + 0.3) / 0.18) ** 2)
        angle += 0.6 * depth * np.exp(-0.5 * ((time - jump - 0.65) / 0.12) ** 2)
    return angle


@pytest.fixture
def pair(walking):
    rng = np.random.default_rng(11)
    time_w = np.arange(0, LENGTH_S, 0.01)
    time_r = np.arange(0, LENGTH_S - 8, 0.005)
    wearable = knee(walking, time_w) + 0.3 * rng.standard_normal(time_w.size)
    reference = knee(walking, time_r * (1 + DRIFT_PPM * 1e-6) + LAG_S)
    reference += 0.2 * rng.standard_normal(time_r.size)
    return AngleRecording(wearable, 0.0, 100.0, "w"), AngleRecording(reference, 0.0, 200.0, "r")


@pytest.fixture
def sensor():
    rng = np.random.default_rng(12)
    time = np.arange(0, LENGTH_S, 0.01)
    up = 9.81 + 3 * np.sin(2 * np.pi * time / 0.55) * ((time > 20) & (time < 100))
    for jump in JUMPS_S:
        up += 60 * np.exp(-0.5 * ((time - jump - 0.55) / 0.02) ** 2)
    acceleration = np.column_stack([up, np.zeros_like(up), np.zeros_like(up)])
    acceleration += 0.1 * rng.standard_normal(acceleration.shape)
    return InertialRecording(acceleration, np.zeros_like(acceleration), None, 0.0, 100.0, "shank")


def test_impacts_are_found_at_both_ends(sensor):
    found = find_events(sensor)

    middles = [0.5 * (item.start_s + item.end_s) for item in found]
    assert_allclose(middles, np.array(JUMPS_S) + 0.55, atol=0.03)


def test_two_jumps_give_lag_and_drift(pair, sensor):
    clock = event(*pair, find_events(sensor))

    assert clock.method == "event"
    assert_allclose(clock.lag_s, LAG_S, atol=max(4 * clock.lag_se_s, 0.0005))
    assert_allclose(clock.drift_ppm, DRIFT_PPM, atol=max(4 * clock.drift_se_ppm, 5))
    assert clock.lag_se_s < 0.003
    assert clock.runner_up_correlation < clock.peak_correlation - 0.1


def test_one_jump_gives_the_lag_and_says_so(pair, sensor):
    clock = event(*pair, find_events(sensor)[:1])

    assert_allclose(clock.lag_s, LAG_S + 4 * DRIFT_PPM * 1e-6, atol=0.002)
    assert clock.drift_ppm == 0
    assert "one event" in clock.warnings[0]


def test_cross_correlation_agrees_with_the_events(pair, sensor):
    by_event, by_all = event(*pair, find_events(sensor)), synchronise(*pair)

    assert_allclose(
        by_event.to_wearable(np.array(55.0)), by_all.to_wearable(np.array(55.0)), atol=0.002
    )


def test_an_event_amid_periodic_walking_is_refused(pair):
    with pytest.raises(SynchronisationError, match="do not single out one lag"):
        event(*pair, [Interval(50.0, 54.0)])


def test_an_event_the_reference_has_not_is_refused(pair):
    wearable, reference = pair
    flat = np.where(
        reference.time_s < 10, 5.0 + 0.1 * np.sin(reference.time_s * 40), reference.angle_deg
    )
    with pytest.raises(SynchronisationError, match=r"no match in r within `max_lag_s` = 8 s"):
        event(wearable, replace(reference, angle_deg=flat), [Interval(8.5, 12.5)], max_lag_s=8)


def test_no_impact_is_refused(sensor):
    still = replace(
        sensor,
        accelerometer=np.tile([0.0, 0.0, 9.81], (sensor.n_samples, 1))
        + 0.1 * np.random.default_rng(1).standard_normal((sensor.n_samples, 3)),
    )
    quiet_ends = replace(
        still,
        accelerometer=np.where(
            ((still.time_s > 40) & (still.time_s < 80))[:, None],
            sensor.accelerometer,
            still.accelerometer,
        ),
    )
    with pytest.raises(SynchronisationError, match="no impact stands out"):
        find_events(quiet_ends)


def test_events_must_be_given(pair):
    with pytest.raises(ValueError, match="`events` must hold at least one interval"):
        event(*pair, [])


def test_one_impact_in_the_middle_of_a_short_recording_counts_once():
    rng = np.random.default_rng(1)
    time = np.arange(0, 40, 0.01)
    acceleration = np.tile([0.0, 0.0, 9.81], (time.size, 1)) + 0.2 * rng.standard_normal((4000, 3))
    acceleration[np.abs(time - 20) < 0.05, 2] += 40
    sensor = InertialRecording(acceleration, acceleration, None, 0.0, 100.0, "shank")

    def jump(at_s, noise):
        angle = 5 + 60 * np.exp(-0.5 * ((time - at_s + 0.5) / 0.2) ** 2)
        angle += 30 * np.exp(-0.5 * ((time - at_s - 0.3) / 0.15) ** 2)
        return AngleRecording(angle + noise * rng.standard_normal(4000), 0.0, 100.0, "jump")

    found = find_events(sensor)
    clock = event(jump(20.0, 0.3), jump(18.0, 0.1), found)

    assert len(found) == 1
    assert found[0].start_s < 20 < found[0].end_s
    assert_allclose(clock.lag_s, 2.0, atol=0.002)
    assert "the drift is not" in clock.warnings[0]


def test_events_that_overlap_are_refused(pair):
    with pytest.raises(ValueError, match="must not overlap: 8 to 12 s and 11 to 14 s"):
        event(*pair, [Interval(11, 14), Interval(8, 12)])


def test_events_that_scatter_widen_the_error(pair):
    """A third event moved by 20 ms: no straight line fits the three, so the error must grow."""
    wearable, reference = pair
    spans = [Interval(8.0, 12.5), Interval(50.0, 54.0), Interval(106.0, 110.5)]
    bent = wearable.angle_deg.copy()
    time = wearable.time_s
    middle = (time > 45) & (time < 60)
    on_wearable = reference.time_s * (1 + DRIFT_PPM * 1e-6) + LAG_S
    b = reference.angle_deg.copy()
    quiet = (on_wearable > 45) & (on_wearable < 60)
    b[quiet] = 5 + 70 * np.exp(-0.5 * ((on_wearable[quiet] - 52) / 0.2) ** 2)

    errors = []
    for late in (0.0, 0.02):
        moved = 70 * np.exp(-0.5 * ((time - 52 - late) / 0.2) ** 2)
        noise = 0.3 * np.random.default_rng(3).standard_normal(time.size)
        bent[middle] = (5 + moved + noise)[middle]
        clock = event(replace(wearable, angle_deg=bent), replace(reference, angle_deg=b), spans)
        errors.append(clock.centre_lag_se_s)

    assert errors[1] > 3 * errors[0]
