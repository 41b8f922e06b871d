"""The main job on a real electrogoniometer in walking, healthy and not, mixed signs and offsets.

Data: Sanchez & Sotelo (2014), EMG dataset in Lower Limb (licence not confirmed): the knee channel
alone, so there is nothing to compare it with.
"""

from pathlib import Path

import pandas as pd
import pytest

from twinangle import read_study, run_study

DATA = Path(__file__).resolve().parents[2] / "../shared/data/goniometer-gait-22"

STUDY = """
[study]
title = "Goniometer alone"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
rate_hz = 1000
angle = "knee_deg"
sign = {sign}
[cycles]
method = "angle-peak"
"""


@pytest.fixture(scope="module")
def summary():
    if not DATA.exists():
        pytest.skip("../shared/data/goniometer-gait-22 is absent")
    return pd.read_csv(DATA / "summary.csv")


@pytest.fixture(scope="module")
def trials(summary, tmp_path_factory):
    """Run the healthy and the pathological, one study for each sign of flexion."""
    found = {}
    for sign, files in summary.groupby("sign_of_flexion"):
        folder = tmp_path_factory.mktemp("goniometer")
        rows = ["participant,condition,trial,wearable"]
        for name in files["file"]:
            (folder / name).write_bytes((DATA / name).read_bytes())
            group, number = name.removesuffix(".csv").rsplit("_", 1)
            rows.append(f"{group[0].upper()}{number},{group},1,{name}")
        (folder / "trials.csv").write_text("\n".join(rows) + "\n")
        (folder / "study.toml").write_text(STUDY.format(sign=sign))
        results = run_study(read_study(folder / "study.toml"))
        found |= dict(zip(files["file"], results.trials, strict=True))
    assert len(found) == 22
    return found


def test_every_file_is_analysed_or_says_why_not(trials):
    for name, trial in trials.items():
        assert trial.status == "ok" or "cycle" in trial.reason, (name, trial.reason)
    assert sum(trial.status == "ok" for trial in trials.values()) >= 18


def test_cycles_found_agree_with_the_swing_peaks_counted_beside_the_data(trials, summary):
    # n swing peaks bound n - 1 cycles; the folder's own count may differ by a stride at an end.
    expected = summary.set_index("file")["swing_peaks_found"] - 1
    for name, trial in trials.items():
        if trial.status == "ok":
            assert abs(len(trial.cycles.reason) - expected[name]) <= 1, name


def test_healthy_walking_varies_little_from_cycle_to_cycle(trials):
    healthy = [t for n, t in trials.items() if n.startswith("healthy") and t.status == "ok"]
    assert len(healthy) >= 8
    for trial in healthy:
        # common practice, no source: a healthy knee's per-cycle SD in walking is a few degrees
        assert 0.5 < trial.wearable_variability.sd < 6
        mean = trial.wearable_variability.mean_curve
        # from memory: normal swing peak 60-65°; zero offsets differ by up to 10° here
        assert 45 < mean.max() - mean.min() < 75


def test_without_a_reference_nothing_is_said_about_agreement(trials):
    assert all(trial.agreement is None for trial in trials.values())
