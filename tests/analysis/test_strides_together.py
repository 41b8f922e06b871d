"""Curves of two legs may fit in the mean; their strides do not vary together."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle import AngleTrial, Study
from twinangle.analysis import run_study
from twinangle.analysis.strides_together import KIND, correlation_of_changes, strides_apart
from twinangle.notices import gravity_of, kind_of
from twinangle.report.answer import above_all
from twinangle.results.notices import grouped_notices
from twinangle.signals.recording import CycleSet

N, POINTS = 400, 101
CURVE = 30 - 30 * np.cos(np.linspace(0, 2 * np.pi, POINTS))


def cycles_of(wearable, reference, dropped=()):
    start = np.arange(len(wearable), dtype=float)
    reason = tuple("turn" if k in dropped else "" for k in range(len(wearable)))
    return CycleSet(start, start + 1, reason, wearable, reference, "events")


def drawn(seed, sd):
    return np.random.default_rng(seed).normal(0, sd, (N, POINTS))


def test_the_correlation_is_the_reliability_of_the_changes():
    # errors of SD 1 and 2 on strides of SD 3: r = 9 / sqrt((9 + 1) (9 + 4)), the attenuation of
    # Spearman (1904), Am J Psychol 15:72 (from memory)
    true = drawn(1, 3.0)
    found, n = correlation_of_changes(
        cycles_of(CURVE + true + drawn(2, 1.0), CURVE + true + drawn(3, 2.0))
    )
    assert n == N - 1
    assert found == pytest.approx(9 / np.sqrt(10 * 13), abs=0.02)


def test_what_repeats_and_what_drifts_is_not_in_it():
    true = drawn(1, 3.0)
    slow = np.linspace(0, 20, N)[:, None]
    skin = 5 * np.sin(np.linspace(0, np.pi, POINTS)) ** 2
    plain, _ = correlation_of_changes(cycles_of(CURVE + true, CURVE + true + drawn(3, 2.0)))
    altered, _ = correlation_of_changes(
        cycles_of(1.1 * (CURVE + true) + skin + slow - 7, CURVE + true + drawn(3, 2.0))
    )
    assert altered == pytest.approx(plain, abs=1e-6)


def test_few_neighbours_tell_nothing():
    one, other = CURVE + drawn(1, 2.0), CURVE + drawn(2, 2.0)
    assert strides_apart(cycles_of(one[:10], other[:10])) == ()
    assert strides_apart(cycles_of(one[:11], other[:11])) != ()
    every_second = range(0, N, 2)
    found, n = correlation_of_changes(cycles_of(one, other, dropped=every_second))
    assert n == 0
    assert np.isnan(found)


@pytest.fixture(scope="module")
def two_legs():
    """One walk; the reference on the wearable's leg, on the other, and both legs' exchanged."""
    rng = np.random.default_rng(4)
    begins = np.concatenate([[0.0], np.cumsum(1.1 * (1 + 0.02 * rng.standard_normal(70)))])
    time = np.arange(2.0, 62.0, 0.02)
    phase = np.interp(time, begins, np.arange(begins.size))

    def leg(ahead):
        size = 1 + 0.05 * rng.standard_normal(begins.size + 2)
        at = phase + ahead
        swing, stance = (
            np.exp(-(((at % 1) - x) ** 2) / w) for x, w in ((0.72, 0.012), (0.15, 0.01))
        )
        return 5 + 60 * (swing + 0.25 * stance) * np.interp(at, np.arange(size.size), size)

    right, left = leg(0.0), leg(0.5)
    noise = iter(rng.normal(0, 0.3, (8, time.size)))

    def trial(name, side, wearable, reference, later_s=0.0):
        return AngleTrial(
            name, time + later_s, wearable + next(noise), reference + next(noise),
            reference_time_s=time + 5.0, side=side,
        )  # fmt: skip

    rows = [
        trial("same", "right", right, right),
        trial("one", "right", right, left),
        trial("both", "right", left, right),
        trial("both", "left", right, left, later_s=7.0),
    ]
    return run_study(Study.from_angles(rows))


def test_the_reference_of_the_other_leg_is_gravely_warned_of_before_all_else(two_legs):
    same, other, *_ = two_legs.trials
    assert same.status == other.status == "ok"
    # the lag takes half a stride up: the mean curves tell nothing
    lags = [trial.synchronisation.lag_s for trial in (same, other)]
    assert abs(lags[1] - lags[0]) == pytest.approx(0.55, abs=0.03)
    assert other.agreement.correlation > 0.98
    assert correlation_of_changes(same.cycles)[0] > 0.9
    assert [text for text in same.warnings if kind_of(text) == KIND] == []
    (told,) = [text for text in other.warnings if kind_of(text) == KIND]
    assert gravity_of(told) == "grave"
    assert "left and right were exchanged" in told
    assert grouped_notices(two_legs)[0].kind == KIND
    assert above_all(two_legs)[0].startswith("Look at this first (one")


def test_both_sides_exchanged_are_refused_and_told_as_that(two_legs):
    """Each wearable's strides vary as the other row's reference does, its clock 7 s off."""
    *_, right, left = two_legs.trials
    assert [right.status, left.status] == ["failed", "failed"]
    for one, other in ((right, left), (left, right)):
        assert one.reason.startswith("left and right were exchanged")
        assert other.label in one.reason
        assert one.agreement is None
        assert KIND not in map(kind_of, one.warnings)
