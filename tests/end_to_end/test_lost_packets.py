"""Lost packets cost no cycle: short gaps are bridged for angle, rates and checks alike."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis import run_study
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

PROCEDURES = ("kalman", "kalman-joint-centre")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """One invented trial of 45 s, its files as written."""
    folder: Path = tmp_path_factory.mktemp("lost") / "study"
    write_demo_study(folder, participants=1, conditions=("indoor",), walk_s=45.0, hatch_deg=0.0)
    text = (folder / "study.toml").read_text()
    names = ", ".join(f'"{name}"' for name in PROCEDURES)
    (folder / "study.toml").write_text(
        text.replace('"kalman-two-sensors", "kalman-forward"', names)
    )
    return folder


@pytest.fixture(scope="module")
def intact(study):
    return run_study(read_study(study)).trials


def lost_rows(n_rows: int, share: float, run: int) -> np.ndarray:
    """Return which rows are lost: runs of `run` rows, `share` of all rows, never touching."""
    rng = np.random.default_rng([run, round(1e4 * share)])
    places = n_rows // (run + 2)
    chosen = rng.choice(places, size=round(share * n_rows / run), replace=False)
    lost = np.zeros(n_rows, dtype=bool)
    for start in chosen * (run + 2) + 1:
        lost[start : start + run] = True
    return lost


def run_without(study: Path, instrument: str, share: float, run: int):
    (file,) = (study / instrument).iterdir()
    whole = file.read_bytes()
    frame = pd.read_csv(file)
    frame[~lost_rows(len(frame), share, run)].to_csv(file, index=False)
    try:
        return run_study(read_study(study)).trials
    finally:
        file.write_bytes(whole)


@pytest.mark.parametrize(
    ("share", "run"), [pytest.param(0.01, 1, marks=pytest.mark.nightly), (0.02, 1), (0.02, 4)]
)
def test_lost_packets_of_the_sensors_drop_no_cycle_and_move_no_number(study, intact, share, run):
    for before, after in zip(intact, run_without(study, "wearable", share, run), strict=True):
        assert after.status == "ok"
        assert not any("gap" in reason for reason in after.cycles.reason)
        # A bridge of 0.04 s moves the heading by a tenth of a degree: one cycle beside a turn may
        # change sides.
        lost = int(before.cycles.kept.sum()) - int(after.cycles.kept.sum())
        assert lost == 0 if run == 1 else abs(lost) <= 1
        assert after.agreement.rms_demeaned == pytest.approx(
            before.agreement.rms_demeaned, abs=0.01
        )
        assert after.agreement.offset == pytest.approx(
            before.agreement.offset, abs=0.02 if run == 1 else 0.1
        )
        for sensor in after.sensors:
            assert sensor.device.dropped_share == pytest.approx(share, rel=0.05)
            assert sensor.device.rest_s > 5
        assert {each.verdict for each in after.plausibility} <= {"consistent", "not tested"}
        (told,) = (text for text in after.warnings if "bridged by a cubic" in text)
        assert "gap(s) of up to 0.05 s" in told


def test_lost_packets_of_the_reference_drop_no_cycle(study, intact):
    for before, after in zip(intact, run_without(study, "reference", 0.02, 2), strict=True):
        assert int(after.cycles.kept.sum()) == int(before.cycles.kept.sum())
        assert after.agreement.rms_demeaned == pytest.approx(
            before.agreement.rms_demeaned, abs=0.01
        )


def test_a_gap_beyond_the_stated_length_stays_one(study, intact):
    """Ten rows at 100 Hz: 0.1 s, twice what is bridged."""
    for before, after in zip(intact, run_without(study, "wearable", 0.01, 10), strict=True):
        assert np.isnan(after.paired.wearable_deg).sum() > 0
        assert int(after.cycles.kept.sum()) < int(before.cycles.kept.sum())
        assert not any("bridged by a cubic" in text for text in after.warnings)
