"""Walks between long rests: standing tells of no lag, so that it is no evidence of a step."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from twinangle.clocks import fitted_clock, synchronise
from twinangle.clocks.band import BandLimited
from twinangle.clocks.clockfit import ClockFit, ClockLine
from twinangle.clocks.stepped import UNDECIDED
from twinangle.clocks.windows import WindowedLags
from twinangle.errors import SynchronisationError
from twinangle.notices import kind_of
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


def test_honest_bouts_lose_nothing():
    """Four of six such hours were refused while standing counted as strides."""
    clock = synchronise(*pair(103))
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.005)
    assert clock.drift_ppm == pytest.approx(DRIFT_PPM, abs=3.0)
    assert clock.warnings == ()


def test_what_is_lost_between_two_bouts_is_said_with_when_and_how_much():
    """A stride less 0.1 s was told as 0.1 s lost by the other file: windows follow too near."""
    (said,) = synchronise(*pair(100, lost_at_s=2120.0, lost=25)).warnings
    assert kind_of(said) == "clock-step"
    assert said.size == pytest.approx(25 / RATE_HZ, abs=0.02)
    found = re.search(r"either goniometer\.csv lost about 1\.00 s between (\d+) and", said)
    assert 1800 < float(found[1]) < 2120
    assert "two bouts of walking" in said
    assert ".csv repeated as much or had its clock set ahead between" in said
    assert UNDECIDED in said


def test_where_the_bouts_do_not_tell_whole_strides_stay_open(monkeypatch):
    monkeypatch.setattr(fitted_clock, "lost_between", lambda *_, **__: None)
    time = np.arange(20.0) * 60.0
    windows = WindowedLags(time, np.where(time < 600.0, 1.0, 1.1), np.ones(20))
    band = BandLimited(np.zeros(50), 0.0, 25.0, "watch.csv")
    both = fitted_clock.Pair(band, band, 25.0)
    fit = ClockFit(ClockLine(600.0, 1.05), np.eye(2), np.ones(2), 1.0, 0.0)
    (said,) = fitted_clock._line_warnings(both, fit, windows, 1.1, drift=True)
    assert kind_of(said) == "clock-step"
    assert said.endswith("Whole strides may be missing besides.")


def test_what_is_lost_within_a_bout_is_still_found():
    with pytest.raises(SynchronisationError, match=r"goniometer\.csv lost"):
        synchronise(*pair(100, lost_at_s=2215.0, lost=10))
