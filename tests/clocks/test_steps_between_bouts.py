"""Walks between long rests: standing tells of no lag, so that it is no evidence of a step."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from twinangle.clocks import synchronise
from twinangle.errors import SynchronisationError
from twinangle.signals.recording import AngleRecording

RATE_HZ, LAG_S, DRIFT_PPM = 25.0, 6.5, 45.0
REFERENCE_S, N_BOUTS, STRIDES = 3600.0, 10, 35


def pair(seed: int, *, lost_at_s: float = 0.0, lost: int = 0) -> tuple[AngleRecording, ...]:
    """Ten bouts of forty seconds in an hour; the reference may lose samples without a gap."""
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, REFERENCE_S + 120.0, 0.01)
    angle = np.full(fine.size, 5.0)
    for k in range(N_BOUTS):
        start = 30.0 + k * REFERENCE_S / N_BOUTS + rng.uniform(0.0, 40.0)
        for _ in range(STRIDES):
            lasts = 1.1 * (1 + 0.02 * rng.normal())
            small, large = 15 + rng.normal(), 55 + 2 * rng.normal()
            inside = (fine >= start) & (fine < start + lasts)
            share = (fine[inside] - start) / lasts
            angle[inside] += small * np.exp(-(((share - 0.15) / 0.07) ** 2))
            angle[inside] += large * np.exp(-(((share - 0.72) / 0.1) ** 2))
            start += lasts
    true = CubicSpline(fine, angle)
    time = np.arange(0.0, REFERENCE_S + 100.0, 1 / RATE_HZ)
    other = np.arange(0.0, REFERENCE_S, 1 / RATE_HZ)
    wearable = true(time) + 0.4 * rng.normal(size=time.size)
    seen = true(other * (1 + DRIFT_PPM * 1e-6) + LAG_S)
    reference = 1.01 * seen + 3.0 + 0.3 * rng.normal(size=other.size)
    row = int(lost_at_s * RATE_HZ)
    reference = np.delete(reference, slice(row, row + lost))
    return (
        AngleRecording(wearable, 0.0, RATE_HZ, "watch.csv"),
        AngleRecording(reference, 0.0, RATE_HZ, "goniometer.csv"),
    )


@pytest.mark.parametrize("seed", [100, 103])
def test_honest_bouts_lose_nothing(seed):
    """Four of six such hours were refused while standing counted as strides."""
    clock = synchronise(*pair(seed))
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.005)
    assert clock.drift_ppm == pytest.approx(DRIFT_PPM, abs=3.0)


def test_what_is_lost_within_a_bout_is_still_found():
    with pytest.raises(SynchronisationError, match=r"goniometer\.csv seems to have lost"):
        synchronise(*pair(100, lost_at_s=2215.0, lost=10))
