"""Laws of the events: what may not change them, and by how much."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.cycles import exclude, find_cycles
from twinangle.signals.recording import PairedAngles

METHODS = st.sampled_from(["shank-gyroscope", "angle-peak"])
FEW = settings(max_examples=12, deadline=None, derandomize=True)


@pytest.fixture(scope="module")
def turning_walk(walk):
    return walk(25, turns_at=(10,), noise_deg=0.1)


def cycles_of(w, method):
    return find_cycles(
        w.paired,
        method=method,
        sagittal_rate_rad_s=w.sagittal,
        vertical_rate_rad_s=w.vertical,
    )


def with_angle(w, angle, start_s=0.0):
    return replace(w, paired=PairedAngles(angle, None, start_s, w.paired.rate_hz))


@FEW
@given(shift_s=st.floats(-1e4, 1e5), method=METHODS)
def test_a_time_shift_shifts_the_events_and_nothing_else(turning_walk, shift_s, method):
    w = turning_walk
    plain = cycles_of(w, method)
    shifted = cycles_of(with_angle(w, w.paired.wearable_deg, shift_s), method)

    assert_allclose(shifted.start_s - shift_s, plain.start_s, atol=1e-7)
    assert_allclose(shifted.wearable_deg, plain.wearable_deg, atol=1e-3)
    assert [t.split(":")[0] for t in shifted.reason] == [t.split(":")[0] for t in plain.reason]


@FEW
@given(factor=st.floats(0.4, 20), method=METHODS)
def test_amplitude_changes_no_event(turning_walk, factor, method):
    w = turning_walk
    scaled = with_angle(replace(w, sagittal=w.sagittal * factor), w.paired.wearable_deg * factor)
    plain, changed = cycles_of(w, method), cycles_of(scaled, method)

    assert_allclose(changed.start_s, plain.start_s, atol=1e-9)
    assert (changed.kept == plain.kept).all()


def test_the_sign_of_the_gyroscope_axis_changes_no_event(turning_walk):
    w = turning_walk
    plain = cycles_of(w, "shank-gyroscope")
    reversed_axis = cycles_of(replace(w, sagittal=-w.sagittal), "shank-gyroscope")

    assert_allclose(reversed_axis.start_s, plain.start_s, atol=1e-9)
    assert reversed_axis.reason == plain.reason
    assert reversed_axis.warnings == plain.warnings


def test_the_sign_of_the_vertical_axis_changes_no_verdict(turning_walk):
    w = turning_walk
    reversed_axis = cycles_of(replace(w, vertical=-w.vertical), "shank-gyroscope")

    assert (reversed_axis.kept == cycles_of(w, "shank-gyroscope").kept).all()


@FEW
@given(bias_deg_s=st.floats(-6, 6))
def test_a_bias_of_the_vertical_rate_changes_no_verdict(turning_walk, bias_deg_s):
    w = turning_walk
    biased = cycles_of(replace(w, vertical=w.vertical + np.radians(bias_deg_s)), "shank-gyroscope")

    assert (biased.kept == cycles_of(w, "shank-gyroscope").kept).all()


@FEW
@given(offset_deg=st.floats(-180, 180), method=METHODS)
def test_a_constant_added_to_the_angle_changes_no_event(turning_walk, offset_deg, method):
    w = turning_walk
    plain = cycles_of(w, method)
    moved = cycles_of(with_angle(w, w.paired.wearable_deg + offset_deg), method)

    assert_allclose(moved.start_s, plain.start_s, atol=1e-9)
    assert moved.reason == plain.reason
    assert_allclose(moved.wearable_deg, plain.wearable_deg + offset_deg, atol=1e-6)


@pytest.mark.parametrize("rate_hz", [50.0, 60.0, 128.0, 200.0, 1000.0])
@pytest.mark.parametrize(
    ("method", "within_s"), [("shank-gyroscope", 0.005), ("angle-peak", 0.002)]
)
def test_the_sampling_rate_changes_no_event(walk, rate_hz, method, within_s):
    plain, other = (cycles_of(walk(20, rate_hz=rate), method) for rate in (100.0, rate_hz))

    assert_allclose(other.start_s, plain.start_s, atol=within_s)
    assert (other.kept == plain.kept).all()


def test_the_instruments_are_judged_by_the_same_rule(turning_walk):
    w = turning_walk
    odd = np.array(w.paired.wearable_deg)
    at = int(w.contact_s[18] * 100)
    odd[at : at + 40] -= 12.0
    clean = w.paired.wearable_deg
    sets = [
        find_cycles(PairedAngles(a, b, 0.0, 100.0), method="events", events_s=w.contact_s)
        for a, b in ((odd, clean), (clean, odd))
    ]

    first, second = (cycles.reason[18] for cycles in sets)
    assert (sets[0].kept == sets[1].kept).all()
    assert first.startswith("curve outlier: wearable")
    assert second == first.replace("wearable", "reference")


@pytest.mark.parametrize(("n", "most_dropped"), [(12, 0.005), (50, 0.002), (200, 0.002)])
def test_ordinary_variability_stays_in(n, most_dropped):
    """Normal variation in level, stance and swing, CV of duration 6 %: almost no outlier.

    The SD over cycles then keeps its value: the mean change is far below the 0.15° asked for.
    """
    rng = np.random.default_rng(4)
    p = np.linspace(0, 1, 101)
    modes = np.array([np.full(101, 0.5), 1.3 * bump(p, 0.72, 0.09), bump(p, 0.14, 0.06)])
    dropped, change = [], []
    for _ in range(150):
        curves = 2.0 * rng.standard_normal((n, 3)) @ modes + 59 * bump(p, 0.72, 0.09)
        duration = 1.1 * (1 + 0.06 * rng.standard_normal(n))
        one, everything = np.ones(n, dtype=np.int64), np.ones(n, dtype=bool)
        odd = exclude.outlying_curves(curves, one, everything, "wearable")
        kept = np.array([not text for text in odd])
        late = exclude.outlying_durations(duration, one, everything)
        dropped += [bool(a or b) for a, b in zip(odd, late, strict=True)]
        change.append(sd_of(curves[kept]) - sd_of(curves))
    assert np.mean(dropped) <= most_dropped
    assert abs(np.mean(change)) <= 0.02


def bump(phase, centre, width):
    return np.exp(-0.5 * ((phase - centre) / width) ** 2)


def sd_of(curves):
    return curves.std(axis=0, ddof=1).mean()
