"""A few strides at a time between sitting and standing: a right clock is not refused."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import crosscorrelation, synchronise
from twinangle.clocks.search import period
from twinangle.errors import SynchronisationError
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
    """Half a stride was taken for one, and 19 of 20 such searches were refused for it."""
    one = pair(seed)
    assert period(one[1].angle_deg, RATE_HZ) == pytest.approx(STRIDE_S, rel=0.03)
    clock = synchronise(*one, max_lag_s=6.0)
    assert clock.lag_s == pytest.approx(LAG_S, abs=0.005)
    assert clock.warnings == ()


@pytest.mark.parametrize("lost", [0, 6])
def test_bouts_that_differ_in_cadence_have_lost_nothing(monkeypatch, lost):
    """Strides off, the lag differs from bout to bout: where a stride was in doubt, that was told.

    What is truly lost is told as before.
    """
    in_doubt = "it cannot be told which cycle is which"
    monkeypatch.setattr(crosscorrelation, "_doubt", lambda *_: in_doubt)
    uneven = pair(4, strides=(20, 50), cadence=0.02, lost_at_s=LOST_AT_S, lost=lost)
    one, other = (replace(side, angle_deg=side.angle_deg[:15000]) for side in uneven)

    with pytest.raises(SynchronisationError) as caught:
        synchronise(one, other, max_lag_s=4.0)

    assert (str(caught.value) == in_doubt) == (lost == 0)
    if lost:
        size, at_s = re.search(
            r"gonio\.csv lost (\S+) s of samples at about (\S+) s", str(caught.value)
        ).groups()
        assert float(size) == pytest.approx(lost / RATE_HZ, abs=0.01)
        assert float(at_s) == pytest.approx(LOST_AT_S, abs=1.5)
