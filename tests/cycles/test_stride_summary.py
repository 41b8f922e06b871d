"""Cadence, stride-time variability and bouts in a long recording."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.cycles import bout_summaries, find_cycles, stride_summary
from twinangle.signals.recording import CycleSet, PairedAngles


def cycles_with(durations, reason=None, bout=None):
    end = np.cumsum(durations)
    n = end.size
    return CycleSet(
        start_s=end - durations,
        end_s=end,
        reason=reason or ("",) * n,
        wearable_deg=np.zeros((n, 101)),
        reference_deg=None,
        method="events",
        bout=np.ones(n, dtype=np.int64) if bout is None else np.array(bout),
    )


def test_a_worked_example_by_hand():
    # Mean 1.2 s, deviations 0.1, 0, 0.1 s: SD 0.1 s, CV 8.333 %, 50 strides a minute.
    summary = stride_summary(cycles_with(np.array([1.1, 1.2, 1.3])))

    assert_allclose(
        [summary.duration_mean_s, summary.duration_sd_s, summary.cycles_per_minute], [1.2, 0.1, 50]
    )
    assert_allclose(summary.duration_cv_percent, 8.3333333)


def test_the_coefficient_of_variation_matches_the_reference_library():
    durations = np.random.default_rng(2).normal(1.1, 0.03, 40)

    expected = 100 * stats.variation(durations, ddof=1)  # scipy.stats
    assert_allclose(stride_summary(cycles_with(durations)).duration_cv_percent, expected)


def test_dropped_cycles_do_not_count():
    durations = np.array([1.0, 1.0, 5.0, 1.2])
    summary = stride_summary(cycles_with(durations, reason=("", "", "turn: x", "")))

    assert (summary.n_found, summary.n_kept) == (4, 3)
    assert_allclose(summary.duration_mean_s, 3.2 / 3)


def test_the_sd_within_bouts_is_the_residual_sd_of_a_one_way_layout():
    durations = np.array([1.0, 1.1, 1.05, 1.4, 1.5, 1.45, 1.35])
    summary = stride_summary(cycles_with(durations, bout=[1, 1, 1, 2, 2, 2, 2]))

    # By hand: (0.005 + 0.0125) / (7 - 2).
    assert_allclose(summary.duration_sd_within_bouts_s, np.sqrt(0.0175 / 5))
    assert summary.duration_sd_s > 2 * summary.duration_sd_within_bouts_s


def test_an_unknown_bout_lists_the_known():
    with pytest.raises(ValueError, match="must be one of 1, got 4"):
        stride_summary(cycles_with(np.ones(3)), bout=4)


@pytest.fixture(scope="module")
def day(walk):
    """Eight hours at 25 Hz: twenty bouts of 12 to 80 cycles among standing and fidgeting."""
    rng = np.random.default_rng(11)
    n = 8 * 3600 * 25
    angle, sagittal = 20 + 0.2 * rng.standard_normal(n), 0.03 * rng.standard_normal(n)
    vertical = 0.02 * rng.standard_normal(n)
    for at in rng.integers(0, n - 100, 1000):
        length = int(rng.integers(20, 80))
        lift = rng.uniform(5, 30) * np.sin(np.pi * np.arange(length) / length)
        angle[at : at + length] += lift
        sagittal[at : at + length] += np.radians(np.gradient(lift)) * 25
    spans = []
    for k in range(20):
        cycles = int(rng.integers(12, 80))
        w = walk(cycles, seed=k, rate_hz=25.0, stride_s=rng.uniform(1.0, 1.3))
        at = int((k + rng.uniform(0.1, 0.7)) * n / 20)
        m = w.sagittal.size
        angle[at : at + m], sagittal[at : at + m] = w.paired.wearable_deg, w.sagittal
        vertical[at : at + m] = w.vertical
        spans.append((at / 25 + w.contact_s[0], at / 25 + w.contact_s[-1], cycles))
    return PairedAngles(angle, None, 0.0, 25.0), sagittal, vertical, spans


@pytest.mark.parametrize("method", ["shank-gyroscope", "angle-peak"])
def test_twenty_bouts_are_found_in_eight_hours(day, method):
    paired, sagittal, vertical, spans = day
    cycles = find_cycles(
        paired, method=method, sagittal_rate_rad_s=sagittal, vertical_rate_rad_s=vertical
    )
    bouts = bout_summaries(cycles)

    assert [bout.bout for bout in bouts] == list(range(1, 21))
    for bout, (begin, end, n) in zip(bouts, spans, strict=True):
        assert abs(bout.start_s - begin) < 1.3
        assert abs(bout.end_s - end) < 1.3
        assert n - 4 <= bout.n_kept <= n
    assert stride_summary(cycles).n_bouts == 20


def test_a_long_recording_gives_each_bout_the_same_cycles_as_alone(walk, day):
    paired, sagittal, vertical, spans = day
    begin, end = spans[4][0] - 3.0, spans[4][1] + 3.0
    inside = slice(int(begin * 25), int(end * 25))
    alone = find_cycles(
        PairedAngles(paired.wearable_deg[inside], None, inside.start / 25, 25.0),
        sagittal_rate_rad_s=sagittal[inside],
        vertical_rate_rad_s=vertical[inside],
    )
    whole = find_cycles(paired, sagittal_rate_rad_s=sagittal, vertical_rate_rad_s=vertical)

    fifth = whole.bout == 5
    assert_allclose(whole.start_s[fifth & whole.kept], alone.start_s[alone.kept], atol=1e-3)
