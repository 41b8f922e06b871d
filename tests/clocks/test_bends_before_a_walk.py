"""Knee bends that last two strides each, then a short walk: the stride is not in doubt for it."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle.clocks import synchronise
from twinangle.signals.recording import AngleRecording

RATE_HZ, LAG_S, STRIDE_S, BEND_S = 50.0, -3.3, 1.03, 2.05


def pair(seed: int) -> tuple[AngleRecording, AngleRecording]:
    """Return six bends and 24 strides of an invented knee, 0.2 degrees of noise on either side."""
    rng = np.random.default_rng(seed)
    fine = np.arange(0.0, 80.0, 0.01)
    angle, at = np.full(fine.size, 5.0), 4.0
    for _ in range(6):
        lasts = BEND_S * (1 + 0.04 * rng.normal())
        inside = (fine >= at) & (fine < at + lasts)
        angle[inside] += 29.0 * (1 - np.cos(2 * np.pi * (fine[inside] - at) / lasts))
        at += lasts
    at += 4.0
    for _ in range(24):
        lasts = STRIDE_S * (1 + 0.02 * rng.normal())
        inside = (fine >= at - lasts) & (fine < at + 2 * lasts)
        share = (fine[inside] - at) / lasts
        angle[inside] += (15 + rng.normal()) * np.exp(-(((share - 0.15) / 0.08) ** 2))
        angle[inside] += (55 + 1.5 * rng.normal()) * np.exp(-(((share - 0.72) / 0.1) ** 2))
        at += lasts
    time = np.arange(0.0, at + 2.0, 1 / RATE_HZ)
    other = np.arange(0.0, at + 5.0, 1 / RATE_HZ)
    worn = np.interp(time, fine, angle) + 0.2 * rng.normal(size=time.size)
    held = 0.98 * np.interp(other + LAG_S, fine, angle) + 2.0 + 0.2 * rng.normal(size=other.size)
    return (
        AngleRecording(worn, 0.0, RATE_HZ, "watch.csv"),
        AngleRecording(held, 0.0, RATE_HZ, "gonio.csv"),
    )


@pytest.mark.parametrize("seed", [1, 3])
def test_a_second_opinion_of_few_strides_is_none(seed):
    """The bends set the cycle; six or seven of these matched elsewhere, and one pause fitted."""
    assert synchronise(*pair(seed)).lag_s == pytest.approx(LAG_S, abs=0.002)
