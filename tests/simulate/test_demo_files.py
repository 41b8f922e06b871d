"""The invented study as files."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.errors import StudyError
from twinangle.simulate import write_demo_study
from twinangle.study import read_study


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "study"
    return write_demo_study(folder, participants=2, walk_s=14.0).parent


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_a_study_reads_as_anyones_would(study: Path) -> None:
    read = read_study(study / "study.toml")

    assert read.title == "Ridge path study (invented)"
    assert [(t.participant, t.condition) for t in read.trials] == [
        ("P01", "indoor"), ("P01", "outdoor"), ("P02", "indoor"), ("P02", "outdoor"),
    ]  # fmt: skip
    assert [trial.reference is None for trial in read.trials] == [False, True, False, True]


def test_every_file_the_table_names_holds_the_columns_the_study_names(study: Path) -> None:
    settings = tomllib.loads((study / "study.toml").read_text(encoding="utf-8"))
    table = pd.read_csv(study / "trials.csv", keep_default_na=False)
    wanted = {"time_s"}
    for part in ("proximal", "distal"):
        for names in settings["wearable"][part].values():
            wanted |= set(names)
    for row in table.itertuples():
        assert set(pd.read_csv(study / row.wearable, nrows=3).columns) == wanted
        if row.reference:
            assert list(pd.read_csv(study / row.reference, nrows=3)) == ["time_s", "knee_deg"]


def test_the_truth_files_agree_with_the_signals(study: Path) -> None:
    facts = json.loads((study / "truth/P01_indoor.json").read_text(encoding="utf-8"))
    knee = pd.read_csv(study / "truth/P01_indoor_knee.csv")
    reference = pd.read_csv(study / "reference/P01_indoor.csv")
    wearable_s = reference["time_s"] * (1 + facts["drift_ppm"] * 1e-6) + facts["lag_s"]
    inside = wearable_s.between(0, knee["time_s"].max())
    true = np.interp(wearable_s[inside], knee["time_s"], knee["knee_deg"])
    gain, _ = np.polyfit(true, reference["knee_deg"][inside], 1)

    assert gain == pytest.approx(1.0, abs=0.05)
    assert np.corrcoef(true, reference["knee_deg"][inside])[0, 1] > 0.999
    assert json.loads((study / "truth/P01_outdoor.json").read_text())["lag_s"] is None


def test_standing_reads_one_gravity_and_the_earths_field(study: Path) -> None:
    frame = pd.read_csv(study / "wearable/P02_outdoor.csv")
    standing = frame[frame["time_s"].between(1, 7)]
    for segment in ("thigh", "shank"):
        for short, expected, slack in (("acc", 9.81, 0.2), ("mag", 48.0, 1.5)):
            values = standing[[f"{segment}_{short}_{axis}" for axis in "xyz"]]
            assert_allclose(np.linalg.norm(values, axis=1), expected, atol=slack)


def test_files_say_that_the_data_are_invented(study: Path) -> None:
    readme = (study / "README.txt").read_text(encoding="utf-8")
    assert "no person was recorded" in readme
    assert "no person was recorded" in (study / "study.toml").read_text(encoding="utf-8")


def test_the_same_seed_writes_the_same_bytes_and_another_does_not(
    study: Path, tmp_path: Path
) -> None:
    again = write_demo_study(tmp_path / "again", participants=2, walk_s=14.0).parent
    other = write_demo_study(tmp_path / "other", seed=8, participants=1, walk_s=14.0).parent

    assert digests(again) == digests(study)
    assert digests(other)["wearable/P01_indoor.csv"] != digests(study)["wearable/P01_indoor.csv"]


def test_the_fourth_participant_lost_rows_indoors(tmp_path: Path) -> None:
    folder = write_demo_study(
        tmp_path / "four", participants=4, conditions=("indoor",), walk_s=8.0
    ).parent
    lost = []
    for number in range(1, 5):
        steps = pd.read_csv(folder / f"wearable/P{number:02d}_indoor.csv")["time_s"].diff()
        lost.append(float(steps.max()))

    assert_allclose(lost, [0.01, 0.01, 0.01, 0.65], atol=1e-6)
    start_s, end_s = json.loads((folder / "truth/P04_indoor.json").read_text())["rows_lost_s"]
    assert end_s - start_s == pytest.approx(0.64)


def test_one_row_is_excluded_and_one_person_has_a_stiff_knee(tmp_path: Path) -> None:
    folder = write_demo_study(tmp_path / "six", participants=6, walk_s=14.0).parent
    left_out = [trial for trial in read_study(folder).trials if trial.exclude]
    assert [(t.participant, t.condition) for t in left_out] == [("P05", "outdoor")]
    assert "broken off" in left_out[0].exclude
    peaks = []
    for number in range(1, 7):
        facts = json.loads((folder / f"truth/P{number:02d}_indoor.json").read_text())
        knee = pd.read_csv(folder / f"truth/P{number:02d}_indoor_knee.csv")
        walk = knee[knee["time_s"].between(*facts["walking_s"])]
        peaks.append(float(walk["knee_deg"].max()))
    assert peaks[5] < 42.0 < 50.0 < min(peaks[:5])


def test_a_folder_of_someone_elses_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(StudyError, match="holds files and is not an earlier demo study"):
        write_demo_study(tmp_path, participants=1, walk_s=8.0)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "demo"
    place.write_text("a file")
    with pytest.raises(StudyError, match="is a file"):
        write_demo_study(place, participants=1)


def test_an_earlier_demo_is_replaced_and_other_files_beside_it_stay(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    write_demo_study(folder, participants=2, conditions=("outdoor",), walk_s=8.0)
    (folder / "my_notes.txt").write_text("keep me")
    write_demo_study(folder, participants=1, conditions=("outdoor",), walk_s=8.0)

    assert (folder / "my_notes.txt").read_text() == "keep me"
    assert [path.name for path in (folder / "wearable").iterdir()] == ["P01_outdoor.csv"]
    assert [path.name for path in tmp_path.iterdir()] == ["demo"]


@pytest.mark.parametrize("conditions", [(), ("seaside",)])
def test_an_unknown_condition_is_refused(tmp_path: Path, conditions: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match=r"must be among .*'indoor', 'outdoor'"):
        write_demo_study(tmp_path / "x", conditions=conditions)
