"""What a user who made a mistake is told: a sentence that names what, where and what instead."""

import shutil

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study, run_study
from twinangle.analysis import check_study
from twinangle.errors import TwinangleError
from twinangle.simulate import write_demo_study


@pytest.fixture(scope="module")
def pristine(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pristine") / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    text = (
        (folder / "study.toml")
        .read_text()
        .replace('["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    )
    (folder / "study.toml").write_text(text)
    table = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    table[table["condition"] == "indoor"].to_csv(folder / "trials.csv", index=False)
    shutil.rmtree(folder / "truth")
    return folder


@pytest.fixture
def study(pristine, tmp_path):
    return shutil.copytree(pristine, tmp_path / "study")


def message(study):
    """Return what the run says of the spoiled study."""
    try:
        results = run_study(read_study(study / "study.toml"))
    except TwinangleError as error:
        return str(error)
    reasons = [trial.reason for trial in results.trials if trial.status == "failed"]
    assert reasons, "the run found nothing wrong"
    return reasons[0]


def edit(path, change):
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    result = change(frame)
    (frame if result is None else result).to_csv(path, index=False)


def edit_numbers(path, change):
    frame = pd.read_csv(path)
    result = change(frame)
    (frame if result is None else result).to_csv(path, index=False)


def retext(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def test_the_pristine_study_runs(pristine):
    study = read_study(pristine / "study.toml")
    assert check_study(study).faults == ()
    assert [trial.status for trial in run_study(study).trials] == ["ok"]


def test_missing_file(study):
    (study / "wearable/P01_indoor.csv").unlink()
    assert "P01_indoor.csv" in message(study)


def test_empty_file(study):
    (study / "wearable/P01_indoor.csv").write_text("")
    assert "is empty" in message(study)


def test_header_without_a_declared_column_names_the_nearest(study):
    retext(study / "wearable/P01_indoor.csv", "thigh_gyr_y", "thigh_gyro_y")
    text = message(study)
    assert "thigh_gyr_y" in text
    assert "thigh_gyro_y" in text


def test_text_in_a_number_column(study):
    def break_one(frame):
        frame.loc[0, "shank_acc_x"] = "broken"

    edit(study / "wearable/P01_indoor.csv", break_one)
    text = message(study)
    assert "broken" in text
    assert "row 2" in text


def test_time_going_back(study):
    def swap(frame):
        times = frame["time_s"].to_numpy().copy()
        times[500:] -= 1.0
        frame["time_s"] = times

    edit_numbers(study / "reference/P01_indoor.csv", swap)
    text = message(study)
    assert "time" in text
    assert "row 502" in text


def test_duplicate_times(study):
    def repeat(frame):
        frame.loc[10, "time_s"] = frame.loc[9, "time_s"]

    edit_numbers(study / "reference/P01_indoor.csv", repeat)
    assert "row 12" in message(study)


def test_constant_channel(study):
    def stick(frame):
        frame["shank_gyr_x"] = 0.25

    edit_numbers(study / "wearable/P01_indoor.csv", stick)
    text = message(study)
    assert "shank_gyr_x" in text
    assert "same value" in text


def test_too_few_samples(study):
    edit(study / "wearable/P01_indoor.csv", lambda f: f.head(5))
    assert "sample" in message(study)


def test_no_overlap_of_the_clocks(study):
    def late(frame):
        frame["time_s"] += 4000.0

    edit_numbers(study / "reference/P01_indoor.csv", late)
    text = message(study)
    assert "overlap" in text or "max_lag_s" in text


def test_wrong_accelerometer_unit(study):
    retext(study / "study.toml", 'accelerometer = "m/s^2"', 'accelerometer = "g"')
    text = message(study)
    assert "[wearable.units] accelerometer" in text
    assert "m/s^2" in text


def test_gyroscope_in_degrees_declared_as_radians(study):
    def degrees(frame):
        for column in [c for c in frame if "_gyr_" in c]:
            frame[column] = np.degrees(frame[column])

    edit_numbers(study / "wearable/P01_indoor.csv", degrees)
    assert "deg/s" in message(study)


def test_thigh_and_shank_swapped(study):
    def swap(frame):
        other = {"thigh": "shank", "shank": "thigh"}
        return frame.rename(columns=lambda name: other.get(name[:5], name[:5]) + name[5:])

    edit_numbers(study / "wearable/P01_indoor.csv", swap)
    results = run_study(read_study(study / "study.toml"))
    said = " ".join((results.trials[0].reason, *results.trials[0].warnings))
    assert "[wearable.proximal]" in said
    assert "swapped" in said


def test_inverted_reference_names_the_key(study):
    def invert(frame):
        frame["knee_deg"] *= -1

    edit_numbers(study / "reference/P01_indoor.csv", invert)
    assert "sign" in message(study)


def test_the_same_trial_twice(study):
    path = study / "trials.csv"
    rows = path.read_text().splitlines()
    path.write_text("\n".join([*rows, rows[-1]]) + "\n")
    assert "rows 2 and 3" in message(study)


def test_a_path_that_leaves_the_study_folder(study):
    def leave(frame):
        frame["wearable"] = "../elsewhere.csv"

    edit(study / "trials.csv", leave)
    assert "elsewhere.csv" in message(study)


def test_no_cycle_where_nothing_moves(study):
    def standing_only(frame):
        frame["start_s"], frame["end_s"] = "0", "3"

    edit(study / "trials.csv", standing_only)
    text = message(study)
    assert "cycle" in text


def test_gaps_are_kept_reported_and_cost_only_the_cycles_they_touch(study):
    def tear(frame):
        return frame.drop(index=frame.index[3000:3100])

    edit_numbers(study / "wearable/P01_indoor.csv", tear)
    (trial,) = run_study(read_study(study / "study.toml")).trials
    assert trial.status == "ok"
    assert trial.timing["wearable"]["n_missing"] == 100
    assert any("gap" in reason or "missing" in reason for reason in trial.cycles.reason)
