"""Cycles of a real electrogoniometer in walking, 11 healthy men and 11 with a knee disorder.

Data: Sanchez & Sotelo (2014), EMG dataset in Lower Limb, UCI Machine Learning Repository (knee
channel; licence not confirmed, so not in the repository). `summary.csv` beside it counts swing
peaks and gives their median interval, found by another person with other code.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.signal import find_peaks

from twinangle.cycles import find_cycles
from twinangle.cycles.events import flexion_peaks
from twinangle.signals.recording import PairedAngles

DATA = Path(__file__).resolve().parents[2] / "../shared/data/goniometer-gait-22"
RATE_HZ = 1000.0
FILES = [f"{group}_{k:02d}.csv" for group in ("healthy", "knee_disorder") for k in range(1, 12)]


@pytest.fixture(scope="module")
def summary():
    if not DATA.is_dir():
        pytest.skip("the recordings of Sanchez & Sotelo (2014) are absent")
    return pd.read_csv(DATA / "summary.csv").set_index("file")


KNOWN = {}


def flexion(name, summary):
    """Flexion in degrees, turned positive where the file has it negative."""
    if name not in KNOWN:
        sign = int(summary.loc[name, "sign_of_flexion"])
        KNOWN[name] = sign * pd.read_csv(DATA / name)["knee_deg"].to_numpy(dtype=float)
    return KNOWN[name]


def cycles_of(name, summary):
    angle = flexion(name, summary)
    return find_cycles(PairedAngles(angle, None, 0.0, RATE_HZ), method="angle-peak")


@pytest.mark.parametrize("name", FILES)
def test_cycles_agree_with_the_swing_peaks_counted_independently(name, summary):
    cycles = cycles_of(name, summary)
    row = summary.loc[name]

    # A cycle runs from peak to peak, so there is one fewer. Where the two counts part by one, the
    # plot shows why: knee_disorder_02 has a 20° half-swing at 5 s that one of them takes for a
    # peak, 05 and 06 have a pause between two bouts, which is no cycle.
    assert abs(cycles.start_s.size - (row["swing_peaks_found"] - 1)) <= 1
    assert_allclose(np.median(cycles.duration_s), row["median_peak_interval_s"], rtol=0.03)


@pytest.mark.parametrize("name", [name for name in FILES if name.startswith("healthy")])
def test_no_cycle_of_steady_healthy_walking_is_left_out(name, summary):
    assert cycles_of(name, summary).kept.all()


def independent_peaks(angle):
    """Peaks by a moving average and scipy's find_peaks, written for this test alone."""
    smooth = np.convolve(angle, np.ones(101) / 101, "valid")
    return find_peaks(smooth, prominence=0.4 * np.ptp(angle), distance=600)[0] + 50


# In healthy_04 and 09 the last peak lies in the last 0.1 s, beside a jump of the recording, where
# a moving average finds none: their counts differ by one.
@pytest.mark.parametrize("k", [1, 2, 3, 5, 6, 7, 8, 10, 11])
def test_the_per_cycle_sd_matches_plain_peaks_and_linear_interpolation(k, summary):
    name = f"healthy_{k:02d}.csv"
    angle = flexion(name, summary)
    grid = np.linspace(0, 1, 101)
    curves = [
        np.interp(a + grid * (b - a), np.arange(angle.size), angle)
        for a, b in pairwise(independent_peaks(angle))
    ]

    cycles = cycles_of(name, summary)
    assert len(curves) == cycles.start_s.size
    # 0.07° is the largest difference seen: the angle has a resolution of 0.1°.
    expected = np.std(curves, axis=0, ddof=1).mean()
    assert_allclose(cycles.wearable_deg.std(axis=0, ddof=1).mean(), expected, atol=0.1)


def test_the_disordered_walks_lose_their_half_swings_and_pauses(summary):
    # Seen in the plots: a pause of 3.5 s at 4 s in 01, of 10 s at 30 s in 06; half-swings at 6 s
    # in 07. Each is named.
    first, sixth, seventh = (
        cycles_of(f"knee_disorder_{k}.csv", summary) for k in ("01", "06", "07")
    )

    assert any(text.startswith("duration outlier: 3.46 s") for text in first.reason)
    assert any(text.startswith("stop: last cycle of bout 1, 10.1") for text in sixth.reason)
    assert sum("outlier: " in text for text in seventh.reason) == 2


@pytest.mark.parametrize("name", FILES)
def test_a_wrong_sign_draws_a_warning_and_the_right_one_none(name, summary):
    angle = flexion(name, summary)
    right, wrong = (flexion_peaks(sign * angle, rate_hz=RATE_HZ)[1] for sign in (1.0, -1.0))

    assert right == ()
    assert "sign of the wearable's angle is inverted" in wrong[0]
