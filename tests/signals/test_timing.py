"""One uniform clock from time stamps: slots, rate, jitter, gaps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.errors import RecordingError
from twinangle.signals.recording import Interval, Recording
from twinangle.signals.timing import Part, regularise


def recording(stamps, values=None) -> Recording:
    stamps = np.asarray(stamps, dtype=float)
    if values is None:
        values = np.column_stack([np.arange(stamps.size), np.arange(stamps.size) ** 0.5])
    return Recording(stamps, np.asarray(values, float), ("a", "b"), ("", ""), "walk.csv")


def test_even_times_are_left_alone():
    uniform, report = regularise(recording(3 + np.arange(500) / 100))

    assert report.rate_hz == 100.0
    assert (report.n_samples, report.n_missing, report.n_repeated) == (500, 0, 0)
    assert uniform.time_s[0] == 3.0
    assert_allclose(uniform.time_s, 3 + np.arange(500) / 100, rtol=0, atol=1e-12)


def test_missing_rows_become_gaps_in_their_place():
    kept = np.setdiff1d(np.arange(1000), [5, 6, 7, 400])
    values = np.column_stack([kept, -kept])

    uniform, report = regularise(recording(kept / 50, values))

    assert uniform.values.shape == (1000, 2)
    assert_array_equal(uniform.values[kept, 0], kept)
    assert np.isnan(uniform.values[[5, 6, 7, 400]]).all()
    assert report.n_missing == 4
    assert report.longest_gap_s == pytest.approx(0.06)


def test_stamps_rounded_to_a_millisecond_keep_their_rate_over_long_gaps():
    # 128 Hz in milliseconds steps by 7 and 8: neither is the period, and 10 s of gap would be
    # 1250 or 1428 samples by them where 1280 are missing.
    index = np.setdiff1d(np.arange(20000), np.arange(3000, 3000 + 1280))

    _, report = regularise(recording(np.round(index / 128, 3)))

    assert report.rate_hz == 128.0
    assert report.n_samples == 20000
    assert report.n_missing == 1280
    # Rounding to q spreads evenly over q: standard deviation q / sqrt(12).
    assert report.jitter_ms == pytest.approx(1 / np.sqrt(12), rel=0.05)


@given(
    rate_hz=st.floats(20, 2000),
    start_s=st.floats(-1e4, 1e4),
    missing=st.floats(0, 0.2),
    jitter=st.floats(0, 0.12),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=20, deadline=None)
def test_every_sample_finds_its_slot(rate_hz, start_s, missing, jitter, seed):
    rng = np.random.default_rng(seed)
    kept = np.flatnonzero(rng.random(2000) >= missing)
    kept -= kept[0]
    # Jitter up to 3 SD = 0.36 of a period keeps each stamp nearest its own slot.
    noise = np.clip(rng.normal(0, jitter, kept.size), -3 * jitter, 3 * jitter)

    uniform, report = regularise(recording(start_s + (kept + noise) / rate_hz))

    assert_array_equal(np.flatnonzero(np.isfinite(uniform.values[:, 0])), kept)
    assert report.rate_hz == pytest.approx(rate_hz, rel=1e-3)


def test_the_rate_is_found_to_the_precision_of_the_stamps():
    rng = np.random.default_rng(5)
    stamps = np.arange(6000) / 100.0037 + rng.normal(0, 0.0005, 6000)

    _, report = regularise(recording(stamps))

    # Least squares: standard error of the period sigma * sqrt(12 / n^3) = 3.7e-9 s, 0.37 ppm.
    assert report.rate_hz == pytest.approx(100.0037, rel=4 * 0.37e-6)
    assert report.jitter_ms == pytest.approx(0.5, rel=0.05)


def test_strong_jitter_is_told():
    rng = np.random.default_rng(6)
    stamps = np.sort(np.arange(5000) / 100 + rng.uniform(-0.0045, 0.0045, 5000))

    _, report = regularise(recording(stamps))

    assert report.rate_hz == pytest.approx(100, rel=1e-4)
    assert "stray from an even clock" in report.warnings[0]


def test_a_logger_that_held_its_last_value_is_told():
    values = np.repeat(np.random.default_rng(1).normal(size=(250, 2)), 2, axis=0)

    _, report = regularise(recording(np.arange(500) / 100, values))

    assert report.n_repeated == 250
    assert "held its last value" in report.warnings[0]


def test_a_known_rate_sets_the_grid():
    uniform, report = regularise(recording([0.0, 0.0101, 0.0199, 0.04]), rate_hz=100)

    assert report.rate_hz == pytest.approx(100)
    assert_array_equal(np.isnan(uniform.values[:, 0]), [False, False, False, True, False])


def test_a_wrong_rate_is_refused():
    with pytest.raises(RecordingError, match="step at 100 Hz where 50 Hz is given"):
        regularise(recording(np.arange(100) / 100), rate_hz=50)


def test_times_that_come_in_bursts_are_refused():
    bursts = (np.arange(50)[:, None] * 0.1 + np.arange(10) * 1e-4).ravel()

    with pytest.raises(RecordingError, match="come in bursts"):
        regularise(recording(bursts))


def test_an_absurd_jump_is_refused_not_allocated():
    stamps = np.concatenate([np.arange(100) / 100, 1.7e9 + np.arange(100) / 100])

    with pytest.raises(RecordingError, match=r"time jumps by 1\.7e"):
        regularise(recording(stamps))


def test_two_samples_are_the_least():
    assert regularise(recording([0.0, 0.5]))[1].rate_hz == 2.0
    with pytest.raises(RecordingError, match="1 sample"):
        regularise(recording([0.0]))


@pytest.mark.parametrize("step_s", [0.0, 0.004])
def test_a_clock_that_steps_inside_the_recording_is_told(step_s):
    rng = np.random.default_rng(8)
    stamps = np.arange(4000) / 100 + rng.normal(0, 1e-4, 4000)
    stamps[2000:] += step_s

    _, report = regularise(recording(stamps))

    assert any("clock does not run evenly" in text for text in report.warnings) == (step_s > 0)


def stepped(rate_hz, step_s, at, rng, n=2000, missing=0.02) -> np.ndarray:
    """Return stamps of a logger rounded to 0.1 ms whose clock was set ahead at a sample."""
    index = np.flatnonzero(rng.random(n) >= missing)
    return np.round(5 + index / rate_hz + step_s * (index >= at), 4)


@given(
    rate_hz=st.floats(50, 500),
    step_s=st.floats(0.003, 30),
    at=st.integers(900, 1100),
    ahead=st.booleans(),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=20, deadline=None)
def test_the_clock_of_a_part_is_that_of_a_file_which_holds_no_more(
    rate_hz, step_s, at, ahead, seed
):
    whole = recording(stepped(rate_hz, step_s, at, np.random.default_rng(seed)))
    at_s = 5 + at / rate_hz
    counted = Interval(-np.inf, at_s - 1e-3) if ahead else Interval(at_s + 1e-3, np.inf)
    rows = (whole.time_s >= counted.start_s) & (whole.time_s <= counted.end_s)
    cut, of_cut = regularise(recording(whole.time_s[rows], whole.values[rows]))

    alone, of_alone = regularise(whole, part=Part(counted, counted))
    kept, of_kept = regularise(whole, part=Part(Interval(-np.inf, np.inf), counted))

    assert_array_equal(alone.time_s, cut.time_s)
    assert_array_equal(alone.values, cut.values)
    assert of_alone == of_cut
    assert not any(text.kind == "clock-step" for text in of_kept.warnings)
    # What is kept besides has each a slot of its own, and moves nothing that counts.
    first = int(np.argmin(np.abs(kept.time_s - cut.time_s[0])))
    assert_allclose(kept.time_s[first : first + cut.time_s.size], cut.time_s, rtol=0, atol=1e-9)
    assert_array_equal(kept.values[first : first + cut.time_s.size], cut.values)
    there = np.isfinite(kept.values[:, 1])
    assert_array_equal(kept.values[there], whole.values)
    assert np.abs(kept.time_s[there] - whole.time_s).max() < 0.51 / rate_hz


def test_a_step_beside_the_part_is_a_note_of_how_far_the_rest_is_off():
    rng = np.random.default_rng(3)
    whole = recording(stepped(100.0, 0.404, 1000, rng, missing=0.0))

    _, report = regularise(whole)
    _, of_part = regularise(whole, part=Part(Interval(-np.inf, np.inf), Interval(15.3, np.inf)))

    assert [(text.kind, text.gravity) for text in report.warnings] == [("clock-step", "grave")]
    (text,) = of_part.warnings
    assert (text.kind, text.gravity) == ("clock-step-beside", "note")
    assert "leave its even clock by 4 ms" in text
    assert of_part.rate_hz == 100.0


def test_a_part_without_stamps_of_its_own_has_the_clock_of_what_is_kept():
    stamps = np.arange(500) / 100
    stamps = stamps[(stamps < 2) | (stamps > 3.5)]

    kept = Interval(0.0, 4.99)
    uniform, report = regularise(recording(stamps), part=Part(kept, Interval(2.2, 3.4)))

    assert report.rate_hz == 100.0
    assert uniform.time_s.size == 500
