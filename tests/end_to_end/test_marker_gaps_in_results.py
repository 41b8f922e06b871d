"""Every missing frame of a marker reference is accounted for, in the results and in the report.

The study: a real sagittal knee of one stride from open marker data (CC BY 4.0,
reference_data/README.md), walked again and again, with gaps punched at known places.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import find_peaks

from twinangle import read_study, run_study
from twinangle.report.content import supplement_content

DATA = Path(__file__).resolve().parents[2] / "reference_data/walking_markers"
MARKERS = ("R_GTR", "R_Knee", "R_HF", "R_Ankle")
RATE_HZ, N_STRIDES = 150, 24
SHORT = [(400, 6), (900, 12), (1700, 15)]  # first frame and length; the longest 0.1 s
LONG = [(1200, 16), (2500, 90)]

STUDY = """
[study]
title = "Gaps"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[reference]
kind = "markers"
method = "sagittal"
time = "time_s"
marker_columns = "{marker}_{axis}_mm"
[reference.proximal]
upper = "R_GTR"
lower = "R_Knee"
[reference.distal]
upper = "R_HF"
lower = "R_Ankle"
[synchronisation]
method = "shared-clock"
[cycles]
method = "angle-peak"
"""


def sagittal(frame: pd.DataFrame) -> np.ndarray:
    """Return the included angle by arctangents, independently of the tool; flexion positive."""
    tilt = []
    for upper, lower in (MARKERS[:2], MARKERS[2:]):
        dx, dy = (frame[f"{upper}_{a}_mm"] - frame[f"{lower}_{a}_mm"] for a in "xy")
        tilt.append(np.degrees(np.arctan2(dx, dy)))
    return np.abs(tilt[1] - tilt[0]).to_numpy()


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gaps")
    columns = [f"{marker}_{axis}_mm" for marker in MARKERS for axis in "xy"]
    walk = pd.read_csv(DATA / "walk_1_150hz.csv")[columns]
    peaks, _ = find_peaks(sagittal(walk), prominence=30)
    stride = walk[peaks[0] : peaks[1]]
    # Places relative to the hip marker, so that strides join; steps at the joins are faded out.
    for axis in "xy":
        hip = stride[f"R_GTR_{axis}_mm"].to_numpy().copy()
        for marker in MARKERS:
            stride = stride.assign(**{f"{marker}_{axis}_mm": stride[f"{marker}_{axis}_mm"] - hip})
    jump = (stride.iloc[-1] - stride.iloc[0]).to_numpy()
    fade = np.linspace(0.5, -0.5, len(stride))[:, None]
    whole = pd.DataFrame(np.tile(stride.to_numpy() + fade * jump, (N_STRIDES, 1)), columns=columns)
    time_s = np.arange(len(whole)) / RATE_HZ
    rng = np.random.default_rng(8)
    wearable = sagittal(whole) + rng.normal(0, 0.3, len(whole)) + 2.0
    pd.DataFrame({"time_s": time_s, "knee_deg": wearable}).to_csv(folder / "w.csv", index=False)
    for first, length in (*SHORT, *LONG):
        whole.loc[first : first + length - 1, ["R_HF_x_mm", "R_HF_y_mm"]] = np.nan
    whole.insert(0, "time_s", time_s)
    whole.to_csv(folder / "r.csv", index=False)
    (folder / "study.toml").write_text(STUDY)
    (folder / "trials.csv").write_text(
        "participant,side,wearable,reference\nP01,right,w.csv,r.csv\n"
    )
    return run_study(read_study(folder))


def test_frames_are_seen_bridged_or_left_and_their_numbers_add_up(results):
    (trial,) = results.trials
    assert trial.status == "ok", trial.reason
    said = "\n".join(trial.warnings)
    total = trial.paired.reference_deg.size
    bridged = int(re.search(rf"(\d+) of {total} frames bridged", said)[1])
    left = int(re.search(rf"(\d+) of {total} frames left as gaps", said)[1])
    assert bridged == sum(length for _, length in SHORT)
    assert left == sum(length for _, length in LONG)
    # On the wearable's samples a sample beside a gap is a gap too: at most one either side.
    missing = np.isnan(trial.paired.reference_deg)
    assert left <= missing.sum() <= left + 2 * len(LONG)
    for first, length in LONG:
        assert missing[first : first + length].all()


def test_cycles_over_a_gap_are_left_out_with_the_reason_and_no_others(results):
    (trial,) = results.trials
    missing = np.isnan(trial.paired.reference_deg)
    times = trial.paired.time_s
    assert 0 < sum("gap" in reason for reason in trial.cycles.reason) < len(trial.cycles.reason)
    for start_s, end_s, reason in zip(
        trial.cycles.start_s, trial.cycles.end_s, trial.cycles.reason, strict=True
    ):
        over_gap = missing[(times >= start_s) & (times <= end_s)].any()
        assert ("gap" in reason) == over_gap, (start_s, reason)


def test_the_results_and_the_report_tell_the_same_counts(results):
    record = json.dumps(results.to_json(), ensure_ascii=False)
    report = json.dumps(supplement_content(results, {}), ensure_ascii=False)
    total = results.trials[0].paired.reference_deg.size
    for text in (record, report):
        assert f"33 of {total} frames bridged by a spline" in text
        assert f"106 of {total} frames left as gaps, for want of markers" in text


def test_the_bridged_knee_is_that_of_the_whole_markers(results):
    (trial,) = results.trials
    difference = trial.paired.wearable_deg - trial.paired.reference_deg
    kept = np.isfinite(difference)
    # The wearable is the independently computed angle, 2 degrees up, with noise of 0.3.
    assert np.mean(difference[kept]) == pytest.approx(2.0, abs=0.05)
    assert np.std(difference[kept]) == pytest.approx(0.3, abs=0.05)
    for first, length in SHORT:
        assert np.abs(difference[first : first + length] - 2.0).max() < 3.0
    assert (
        45 < np.nanmax(trial.paired.reference_deg) < 65
    )  # of walking; 59.0 by a plain included angle
