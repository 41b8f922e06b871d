"""The main job on a real pair of sensors with a real optical knee angle (jumps, not walking).

Data: Fan et al. 2021, J Biomech 124:110549 (no licence stated, so not in the repository); an
independent computation beforehand gave: RMS of the demeaned difference 0.39°, offset 9.8°.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle import read_study, run_study

DATA = Path(__file__).resolve().parents[2] / "../shared/data/knee-jump-left"
LAG_S, DRIFT_PPM = 3.7215, 85.0
AXES = ("x", "y", "z")

STUDY = """
[study]
title = "Jumps"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "inertial"
time = "time_s"
gyroscope_sample = "interval-mean"
procedures = ["kalman", "vqf"]
[wearable.proximal]
accelerometer = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]
gyroscope = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]
magnetometer = ["thigh_mag_x", "thigh_mag_y", "thigh_mag_z"]
[wearable.distal]
accelerometer = ["shank_acc_x", "shank_acc_y", "shank_acc_z"]
gyroscope = ["shank_gyr_x", "shank_gyr_y", "shank_gyr_z"]
magnetometer = ["shank_mag_x", "shank_mag_y", "shank_mag_z"]
[wearable.units]
accelerometer = "m/s^2"
gyroscope = "rad/s"
magnetometer = "normalised"
[reference]
kind = "angle"
time = "time_s"
angle = "x_deg"
sign = -1
[cycles]
method = "events"
"""


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    if not DATA.exists():
        pytest.skip("../shared/data/knee-jump-left is absent")
    folder = tmp_path_factory.mktemp("jumps")
    _write_wearable(folder / "wearable.csv")
    optical = pd.read_csv(DATA / "left_knee_optical.csv")
    time_s = (optical["frame"] - 1) / 100
    # The reference's own clock, put off by a known amount.
    optical["time_s"] = (time_s - LAG_S) / (1 + DRIFT_PPM * 1e-6)
    optical.to_csv(folder / "reference.csv", index=False)
    pd.DataFrame({"time_s": _jump_starts(-optical["x_deg"])}).to_csv(
        folder / "events.csv", index=False
    )
    (folder / "study.toml").write_text(STUDY)
    (folder / "trials.csv").write_text(
        "participant,condition,side,wearable,reference,static_start_s,static_end_s,"
        "functional_start_s,functional_end_s,events\n"
        "J01,laboratory,left,wearable.csv,reference.csv,0,1,0,66,events.csv\n"
    )
    found = run_study(read_study(folder / "study.toml"))
    assert found.trials
    return found


def _write_wearable(path):
    """Join the two sensors' files; the segment `a` is the shank, `b` the thigh."""
    columns = {"time_s": np.arange(6671) / 100}
    for segment, letter in (("thigh", "b"), ("shank", "a")):
        sensor = pd.read_csv(DATA / f"left_segment_{letter}_imu.csv")
        for signal in ("acc", "gyr", "mag"):
            for axis in AXES:
                columns[f"{segment}_{signal}_{axis}"] = sensor[f"{signal}_{axis}"]
    pd.DataFrame(columns).to_csv(path, index=False)


def _jump_starts(flexion):
    """Return where flexion rises through 30°, at least 2.5 s apart."""
    rising = np.flatnonzero((flexion.to_numpy()[:-1] < 30) & (flexion.to_numpy()[1:] >= 30))
    starts = [rising[0]]
    for index in rising:
        if index - starts[-1] > 250:
            starts.append(index)
    return np.array(starts) / 100


def test_known_lag_and_drift_are_recovered(results):
    for trial in results.trials:
        assert trial.status == "ok", trial.reason
        clock = trial.synchronisation
        # The two instruments' own clocks are believed, not known, to have been one: hence 2 ms.
        assert clock.lag_s == pytest.approx(LAG_S, abs=0.002)
        assert clock.drift_ppm == pytest.approx(DRIFT_PPM, abs=20)


def test_demeaned_difference_is_as_small_as_computed_independently(results):
    for trial in results.trials:
        paired = trial.paired
        difference = paired.wearable_deg - paired.reference_deg
        difference = difference[np.isfinite(difference)]
        # PROVENANCE.md: 0.39° over the whole recording; the issue asks for 0.5°.
        assert difference.std() <= 0.5
        assert difference.mean() == pytest.approx(-9.8, abs=1)


def test_offset_and_rms_of_the_mean_curves_follow(results):
    for trial in results.trials:
        assert trial.agreement.rms_demeaned <= 0.5
        assert trial.agreement.correlation > 0.999
        assert_allclose(
            trial.agreement.rmse**2,
            trial.agreement.offset**2 + trial.agreement.rms_demeaned**2,
            rtol=1e-12,
        )


def test_one_participant_is_said_to_be_one(results):
    assert any("One participant" in note for note in results.notes)
    assert all("within this participant" in pooled.value.note for pooled in results.limits)
