"""Which stride is it: accepted where it can be told, refused where it cannot."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording


def simulate(walking, seed, **changes):
    return walking.make_pair(np.random.default_rng(seed), walking.PairSettings(**changes))


@pytest.mark.parametrize("seed", range(4))
def test_fully_periodic_walking_is_refused(walking, seed):
    wearable, reference = simulate(walking, seed, time_cv=0.0, size_cv=0.0, locked_deg=2.0)

    with pytest.raises(SynchronisationError, match="which cycle is which") as refusal:
        synchronise(wearable, reference)

    for remedy in ("max_lag_s", "trigger", "event", "start, a stop or a turn"):
        assert remedy in str(refusal.value)


def test_noise_free_periodic_walking_is_refused(walking):
    wearable, reference = simulate(
        walking,
        0,
        time_cv=0.0,
        size_cv=0.0,
        slow_drift_deg=0.0,
        stride_error_deg=0.0,
        noise_deg=0.0,
    )

    with pytest.raises(SynchronisationError, match="which cycle is which"):
        synchronise(wearable, reference)


def test_a_lag_known_to_less_than_half_a_stride_settles_it(walking):
    wearable, reference = simulate(walking, 1, time_cv=0.0, size_cv=0.0)

    clock = synchronise(wearable, reference, expected_lag_s=3.0, max_lag_s=0.5)

    assert_allclose(clock.lag_s, 3.217, atol=0.002)
    assert np.isnan(clock.evidence)


def test_refusal_can_be_turned_into_a_warning(walking):
    wearable, reference = simulate(walking, 1, time_cv=0.0, size_cv=0.0)

    clock = synchronise(wearable, reference, refuse=False)

    assert "which cycle is which" in clock.warnings[0]
    assert clock.evidence < 7


def test_natural_variation_tells_the_stride_where_the_plain_argmax_errs(walking):
    wrong = 0
    for seed in range(8):
        rng = np.random.default_rng([99, seed])
        settings = replace(
            walking.draw_settings(rng, "steady"), overlap_s=30.0, time_cv=0.012, locked_deg=3.0
        )
        wearable, reference = walking.make_pair(rng, settings)
        plain, _ = walking.plain_lags(wearable, reference)
        wrong += abs(plain - settings.lag_s) > 0.4

        clock = synchronise(wearable, reference)

        assert (
            abs(
                clock.centre_s * (clock.drift_ppm - settings.drift_ppm) * 1e-6
                + clock.lag_s
                - settings.lag_s
            )
            < 0.016
        )
        assert clock.evidence > 7
    assert wrong > 1


def bouts(walking, seed, n):
    """Simulate perfectly periodic walking of a few bouts with unequal pauses between."""
    wearable, reference = simulate(
        walking,
        seed,
        time_cv=0.0,
        size_cv=0.0,
        lag_s=5.4,
        drift_ppm=50.0,
        overlap_s=20.0 * n,
        slow_drift_deg=0.5,
        stride_error_deg=0.7,
    )

    def gate(time):
        starts = 8 + 19.0 * np.arange(n) + 1.3 * np.arange(n)
        return sum(
            0.5 * (np.tanh((time - s) / 0.4) - np.tanh((time - s - 15) / 0.4)) for s in starts
        )

    on_wearable = reference.time_s * (1 + 50e-6) + 5.4
    return (
        replace(wearable, angle_deg=wearable.angle_deg * gate(wearable.time_s)),
        replace(reference, angle_deg=reference.angle_deg * gate(on_wearable)),
    )


@pytest.mark.parametrize("n", [1, 2, 3])
def test_starts_and_stops_settle_what_periodic_strides_cannot(walking, n):
    wearable, reference = bouts(walking, 3, n)

    clock = synchronise(wearable, reference)

    middle = 10.0 * n
    assert_allclose(clock.to_wearable(np.array(middle)) - middle, 5.4 + middle * 50e-6, atol=0.0015)


@pytest.mark.nightly
def test_systematic_part_bounds_what_a_repeating_difference_does(walking):
    plain = synchronise(*simulate(walking, 5, overlap_s=60.0))
    locked = [
        (synchronise(*simulate(walking, seed, overlap_s=60.0, drift_ppm=0.0, locked_deg=3.0)))
        for seed in range(5)
    ]

    assert plain.lag_systematic_s < 0.001
    for clock in locked:
        assert 0.001 < clock.lag_systematic_s < 0.02
        error = abs(clock.lag_s - 3.217)
        assert error < 3 * np.hypot(clock.lag_se_s, clock.lag_systematic_s)


@pytest.mark.nightly
def test_errors_cover_and_drift_is_found_over_two_minutes(walking):
    lag_z, drift_error = [], []
    for seed in range(5):
        rng = np.random.default_rng([7, seed])
        settings = walking.draw_settings(rng, "two-minute")
        clock = synchronise(*walking.make_pair(rng, settings))
        at = clock.centre_s
        error = clock.lag_s - settings.lag_s + at * (clock.drift_ppm - settings.drift_ppm) * 1e-6
        lag_z.append(error / clock.lag_statistical_s)
        drift_error.append(clock.drift_ppm - settings.drift_ppm)

    # The benchmark counts coverage over many pairs; here gross mistakes of scale must show.
    assert 0.4 < np.sqrt(np.mean(np.square(lag_z))) < 2.5
    assert np.sqrt(np.mean(np.square(drift_error))) < 3


@pytest.mark.parametrize("minutes", [12, pytest.param(60, marks=pytest.mark.nightly)])
def test_minutes_with_a_gap_are_followed_along_their_drift(walking, minutes):
    wearable, reference = simulate(
        walking,
        8,
        overlap_s=minutes * 60.0 + 100.0,
        drift_ppm=120.0,
        lag_s=-8.0,
        reference_hz=100.0,
        wearable_hz=50.0,
    )
    angle = wearable.angle_deg.copy()
    angle[angle.size // 5 : angle.size * 2 // 5] = np.nan

    clock = synchronise(AngleRecording(angle, 0.0, 50.0, "minutes"), reference)

    assert_allclose(clock.lag_s, -8.0, atol=0.001)
    assert_allclose(clock.drift_ppm, 120.0, atol=0.3)
    assert not clock.warnings


def test_a_drifting_angle_is_placed_by_its_rate_of_change(walking):
    wearable, reference = simulate(walking, 9, slow_drift_deg=35.0, drift_ppm=0.0, overlap_s=50.0)

    clock = synchronise(wearable, reference)

    assert_allclose(clock.lag_s, 3.217, atol=0.003)


def legs(seed, *, other: bool):
    """Return two instruments on one walk; the reference of the other leg, or of the same.

    Strides of both legs have their times in common and sizes of their own (SD 4 %), 0.1° of noise.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 70.0, 0.02)
    starts = np.cumsum(1.1 * (1 + 0.003 * rng.standard_normal(90))) - 10.0
    found = []
    for k in range(2):
        phase = np.interp(time, starts, np.arange(90.0)) + (0.5 if k and other else 0.0)
        sizes = 1 + 0.04 * np.random.default_rng([seed, k if other else 0]).standard_normal(92)
        size = np.interp(phase, np.arange(92.0), sizes)
        u = phase % 1
        bumps = ((60.0, 0.72, 0.1), (12.0, 0.15, 0.08))
        angle = size * sum(high * np.exp(-(((u - at) / wide) ** 2)) for high, at, wide in bumps)
        angle += rng.normal(0.0, 0.1, time.size)
        found.append(AngleRecording(angle, 0.0, 50.0, f"{k}.csv"))
    return found


@pytest.mark.parametrize("seed", [0, 1, 5])
def test_a_reference_of_the_other_leg_is_told_as_that(seed):
    """Of other walks the lag is found, half a stride off, and their cycles tell it."""
    with pytest.raises(SynchronisationError) as refusal:
        synchronise(*legs(seed, other=True), max_lag_s=3.0, drift=False)
    assert "which cycle is which" in str(refusal.value)
    assert "whether left and right were exchanged" in str(refusal.value)
    assert abs(synchronise(*legs(seed, other=False), max_lag_s=3.0).lag_s) < 0.01


def test_strides_too_alike_are_not_told_as_two_legs(walking):
    for changes in ({"size_cv": 0.0}, {"size_cv": 0.0, "stride_error_deg": 0.0}):
        wearable, reference = simulate(walking, 1, time_cv=0.0, **changes)
        with pytest.raises(SynchronisationError, match="which cycle is which") as refusal:
            synchronise(wearable, reference)
        assert "exchanged" not in str(refusal.value)
