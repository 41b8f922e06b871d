"""A few strides at a time between sitting and standing: a right clock is not refused."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle.clocks import synchronise
from twinangle.clocks.search import period, prepare
from twinangle.clocks.steps import search_step
from twinangle.signals.recording import AngleRecording

RATE_HZ, LAG_S, DRIFT_PPM, STRIDE_S = 50.0, 3.3, -24.0, 1.04
DURATION_S = 600.0
LOST_AT_S = 205.0  # on the reference, within a bout of the pair drawn


def pair(
    seed: int,
    *,
    sitting: float = 0.5,
    strides: tuple[int, int] = (4, 15),
    pauses_s: tuple[float, float] = (5.0, 90.0),
    cadence: float = 0.0,
    lost_at_s: float = 0.0,
    lost: int = 0,
) -> tuple[AngleRecording, AngleRecording]:
    """Ten minutes of bouts of 4 to 14 strides, invented; the reference may lose samples.

    A share of the pauses is spent sitting, the knee at about 80 degrees. `cadence` is the SD of the
    bouts' usual strides, as a share.
    """
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, DURATION_S + 20.0, 0.01)
    angle, posture = np.zeros(fine.size), np.full(fine.size, 5.0)
    at = 10.0
    while at < DURATION_S - 30.0:
        usual = STRIDE_S * (1 + cadence * rng.normal())
        for _ in range(int(rng.integers(*strides))):
            lasts = usual * (1 + 0.015 * rng.normal())
            inside = (fine >= at - lasts) & (fine < at + 2 * lasts)
            share = (fine[inside] - at) / lasts
            angle[inside] += (15 + rng.normal()) * np.exp(-(((share - 0.15) / 0.08) ** 2))
            angle[inside] += (55 + 1.5 * rng.normal()) * np.exp(-(((share - 0.72) / 0.1) ** 2))
            at += lasts
        rests = rng.uniform(*pauses_s)
        if rng.random() < sitting:
            down, up = at + 1.0, at + max(rests - 1.0, 2.0)
            seated = 0.5 * (np.tanh((fine - down) / 0.6) - np.tanh((fine - up) / 0.6))
            posture += rng.uniform(70.0, 90.0) * seated
        at += rests
    true = angle + posture
    time = np.arange(0.0, DURATION_S + 15.0, 1 / RATE_HZ)
    other = np.arange(0.0, DURATION_S, 1 / RATE_HZ)
    wearable = np.interp(time, fine, true) + 0.2 * rng.normal(size=time.size)
    seen = np.interp(other * (1 + DRIFT_PPM * 1e-6) + LAG_S, fine, true)
    reference = 0.98 * seen + 2.0 + 0.2 * rng.normal(size=other.size)
    row = int(lost_at_s * RATE_HZ)
    return (
        AngleRecording(wearable, 0.0, RATE_HZ, "watch.csv"),
        AngleRecording(np.delete(reference, slice(row, row + lost)), 0.0, RATE_HZ, "gonio.csv"),
    )


@pytest.mark.parametrize("seed", [0, 4])
def test_between_sitting_and_standing_a_stride_is_still_whole(seed):
    """Half a stride was taken for one, and which it is could not be told, in 19 of 20 such searches."""
    one = pair(seed)
    assert period(one[1].angle_deg, RATE_HZ) == pytest.approx(STRIDE_S, rel=0.03)
    clock = synchronise(*one, max_lag_s=6.0)
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.005)
    assert clock.warnings == ()


@pytest.mark.parametrize("lost", [0, 6])
def test_bouts_that_differ_in_cadence_have_lost_nothing(lost):
    """A stride off, the lag differs from bout to bout: all of eight such showed a step.

    What is truly lost leaves less over than any line, and is found as before.
    """
    uneven = {"strides": (20, 50), "cadence": 0.02}
    one, other, _ = prepare(*pair(4, **uneven, lost_at_s=LOST_AT_S, lost=lost))
    one, other = one.between(0.0, 303.3), other.between(0.0, 300.0)

    found = search_step(one, other, expected_lag_s=0.0, max_lag_s=4.0, stride_s=STRIDE_S)

    assert (found is None) == (lost == 0)
    if found is not None:
        assert found.size_s == pytest.approx(lost / RATE_HZ, abs=0.01)
        assert found.first_s - 1 < LOST_AT_S + LAG_S < found.last_s + 1
