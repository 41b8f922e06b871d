"""A few strides at a time between sitting and standing: a right clock is not refused."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle.clocks import synchronise
from twinangle.clocks.search import period
from twinangle.signals.recording import AngleRecording

RATE_HZ, LAG_S, DRIFT_PPM, STRIDE_S = 50.0, 3.3, -24.0, 1.04
DURATION_S = 600.0


def pair(
    seed: int, *, sitting: float = 0.5, lost_at_s: float = 0.0, lost: int = 0
) -> tuple[AngleRecording, AngleRecording]:
    """Ten minutes of bouts of 4 to 14 strides, invented; the reference may lose samples.

    Between them a share of the pauses is spent sitting, the knee at about 80 degrees.
    """
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, DURATION_S + 20.0, 0.01)
    angle, posture = np.zeros(fine.size), np.full(fine.size, 5.0)
    at = 10.0
    while at < DURATION_S - 30.0:
        for _ in range(int(rng.integers(4, 15))):
            lasts = STRIDE_S * (1 + 0.015 * rng.normal())
            inside = (fine >= at - lasts) & (fine < at + 2 * lasts)
            share = (fine[inside] - at) / lasts
            angle[inside] += (15 + rng.normal()) * np.exp(-(((share - 0.15) / 0.08) ** 2))
            angle[inside] += (55 + 1.5 * rng.normal()) * np.exp(-(((share - 0.72) / 0.1) ** 2))
            at += lasts
        rests = rng.uniform(5.0, 90.0)
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


@pytest.mark.parametrize("seed", [0, 4, 7])
def test_between_sitting_and_standing_a_stride_is_still_whole(seed):
    """Half a stride was taken for one, and which it is could not be told, in 9 such of 10."""
    one = pair(seed)
    assert period(one[1].angle_deg, RATE_HZ) == pytest.approx(STRIDE_S, rel=0.03)
    clock = synchronise(*one, max_lag_s=6.0)
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.005)
    assert clock.warnings == ()
