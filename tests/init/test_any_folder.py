"""Folders of angles alone, of names of any kind, of nothing that is known: always a draft."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.errors import StudyError
from twinangle.formats import describe_file
from twinangle.init import propose_study, suggest_section, write_proposal
from twinangle.study import read_study

TIMES = np.arange(60) / 100
SENSOR = [f"{kind}_{axis}" for kind in ("acc", "gyr") for axis in "xyz"]


def write(path: Path, names, *, decimal=".") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(len(path.name))
    columns = {name: rng.normal(size=TIMES.size).round(4) for name in names}
    pd.DataFrame({"time_s": TIMES} | columns).to_csv(
        path, index=False, sep=";" if decimal == "," else ",", decimal=decimal
    )
    return path


def drafted(folder):
    proposal = propose_study(folder)
    write_proposal(folder, proposal)
    rows = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    return proposal, tomllib.loads(proposal.study_toml), rows


def faults(folder) -> str:
    with pytest.raises(StudyError) as caught:
        read_study(folder)
    return str(caught.value)


ANGLE_PAIRS = {
    "a mark at the end": ("{p}.csv", "{p}_g.csv", ["Q1", "Q2", "Q10"]),
    "a letter at the end": ("{p}a.csv", "{p}b.csv", ["one", "two", "six"]),
    "folders": ("first/{p}.csv", "second/{p}.csv", ["x1", "x2", "x3"]),
    "a word before": ("{p}.csv", "gonio_{p}.csv", ["7", "8", "9"]),
    "one pair of any names": ("morning.csv", "evening.csv", ["-"]),
}


@pytest.mark.parametrize("name", ANGLE_PAIRS)
@pytest.mark.parametrize("columns", [("imu_angle_deg", "gonio_deg"), ("knee_deg", "knee_deg")])
def test_a_study_of_angles_alone(tmp_path, name, columns):
    first, second, people = ANGLE_PAIRS[name]
    for person in people:
        write(tmp_path / first.format(p=person), columns[:1], decimal=",")
        write(tmp_path / second.format(p=person), columns[1:], decimal=",")

    proposal, found, rows = drafted(tmp_path)

    assert found["wearable"]["kind"] == found["reference"]["kind"] == "angle"
    pairs = {frozenset(pair) for pair in zip(rows["wearable"], rows["reference"], strict=True)}
    assert pairs == {frozenset((first.format(p=p), second.format(p=p))) for p in people}
    if columns[1] == "gonio_deg" or "gonio" in second:
        assert set(rows["reference"]) == {second.format(p=p) for p in people}
    assert any("which of the two" in text for text in proposal.open_questions)
    if name == "one pair of any names":  # times of day say nothing of who
        assert rows["participant"].tolist() == ["?"]
        assert any("who was recorded" in text for text in proposal.open_questions)
        assert "column 'participant': is '?'" in faults(tmp_path)
        return
    assert rows["participant"].nunique() == len(people)
    assert len(read_study(tmp_path).trials) == len(people)


def test_both_angles_in_one_file(tmp_path):
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_indoor.csv", ["knee_imu_deg", "knee_gonio_deg"])
    _, found, rows = drafted(tmp_path)
    assert found["wearable"]["angle"] == "knee_imu_deg"
    assert found["reference"]["angle"] == "knee_gonio_deg"
    assert rows["wearable"].tolist() == rows["reference"].tolist()
    assert len(read_study(tmp_path).trials) == 2


def test_sensors_and_references_of_any_names_are_paired(tmp_path):
    both = [f"{segment}_{name}" for segment in ("thigh", "shank") for name in SENSOR]
    for person in ("Q1", "Q2"):
        write(tmp_path / f"{person}.csv", both)
        write(tmp_path / f"{person}_g.csv", ["knee_deg"])
    _, _, rows = drafted(tmp_path)
    assert rows["reference"].tolist() == ["Q1_g.csv", "Q2_g.csv"]


def test_references_that_could_be_anybodys_are_asked_about(tmp_path):
    both = [f"{segment}_{name}" for segment in ("thigh", "shank") for name in SENSOR]
    for name in ("kim", "lou", "max"):
        write(tmp_path / f"{name}.csv", both)
    for name in ("north", "east"):
        write(tmp_path / f"{name}.csv", ["knee_deg"])
    proposal, _, rows = drafted(tmp_path)
    assert rows["reference"].tolist() == [""] * 3
    assert sum("belongs to no wearable file" in text for text in proposal.open_questions) == 2


@pytest.mark.parametrize(
    ("first", "second"), [("arm", "forearm"), ("Arm", "ForeArm"), ("upperarm", "lower arm")]
)
def test_arm_and_forearm_are_an_elbow(tmp_path, first, second):
    write(tmp_path / "P01.csv", [f"{s}_{name}" for s in (first, second) for name in SENSOR])
    _, found, _ = drafted(tmp_path)
    assert found["study"]["joint"] == "elbow"
    assert found["wearable"]["proximal"]["gyroscope"][0] == f"{first}_gyr_x"
    assert found["wearable"]["distal"]["gyroscope"][0] == f"{second}_gyr_x"


def test_words_that_begin_with_arm_are_no_segment(tmp_path):
    described = describe_file(write(tmp_path / "a.csv", [f"armband_{name}" for name in SENSOR]))
    assert "wearable.?" in suggest_section(described)


@pytest.mark.parametrize("between", ["", "_", ":", ".", "-", " "])
@pytest.mark.parametrize("capital", [True, False])
def test_markers_by_axes_of_either_case(tmp_path, between, capital):
    axes = "XYZ" if capital else "xyz"
    names = [f"{m}{between}{a}" for m in ("RGTR", "RKNE", "RHFB", "RANK") for a in axes]
    section = suggest_section(describe_file(write(tmp_path / "a.csv", names)))
    found = tomllib.loads(section)["reference"]
    pattern = found.get("marker_columns", "{marker}_{axis}")
    assert pattern == f"{{marker}}{between}{{{'AXIS' if capital else 'axis'}}}"
    assert "# markers in the file: RGTR, RKNE, RHFB, RANK" in section


def test_a_draft_with_blanks_where_nothing_is_known(tmp_path):
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_indoor.csv", ["ch1", "ch2"])
    proposal, found, rows = drafted(tmp_path)
    assert rows["wearable"].tolist() == ["P01_indoor.csv", "P02_indoor.csv"]
    assert rows["participant"].tolist() == ["P01", "P02"]
    assert found["wearable"]["kind"] == "?"
    assert "ch1, ch2" in proposal.study_toml  # what the blanks are to be filled from
    said = faults(tmp_path)
    assert "[wearable] `kind` is '?'; accepted: 'inertial', 'orientation' or 'angle'" in said


@pytest.mark.parametrize("kind", ["inertial", "orientation", "angle"])
def test_every_blank_of_a_draft_is_explained(tmp_path, kind):
    write(tmp_path / "P01.csv", ["ch1", "ch2"])
    _, _, _ = drafted(tmp_path)
    text = (tmp_path / "study.toml").read_text()
    (tmp_path / "study.toml").write_text(text.replace('kind = "?"', f'kind = "{kind}"', 1))
    said = faults(tmp_path)
    assert "Input should" not in said
    assert "tuple" not in said
    assert any(told in said for told in ("missing", "left open", "needs either `angle"))


def test_a_blank_in_the_table_is_a_fault(tmp_path):
    write(tmp_path / "a.csv", ["knee_deg"])
    (tmp_path / "study.toml").write_text(
        '[study]\ntitle = "x"\njoint = "knee"\ntrials = "trials.csv"\n'
        '[wearable]\nkind = "angle"\ntime = "time_s"\nangle = "?"\n'
    )
    (tmp_path / "trials.csv").write_text("participant,wearable,end_s\n?,a.csv,?\n")
    said = faults(tmp_path)
    assert "row 2, column 'participant': is '?', which `twinangle init` left open" in said
    assert "[wearable] `angle` is '?', which `twinangle init` left open" in said


def test_the_side_may_stand_in_the_names_of_files(tmp_path):
    for side in ("left", "right"):
        for segment in ("thigh", "shank"):
            for person in ("P01", "P02"):
                write(tmp_path / f"{side}/{segment}/{person}_hall.csv", SENSOR)
    _, found, rows = drafted(tmp_path)
    assert found["wearable"]["files"] == {
        "proximal": "{side}/thigh/{wearable}",
        "distal": "{side}/shank/{wearable}",
    }
    assert rows["side"].tolist() == ["left", "left", "right", "right"]
    assert rows["wearable"].tolist() == ["P01_hall.csv", "P02_hall.csv"] * 2
    text = (tmp_path / "study.toml").read_text()
    text = text.replace('"?"', '"m/s^2"', 1).replace('"?"', '"rad/s"', 1)
    (tmp_path / "study.toml").write_text(text)
    rows.assign(static_start_s="0", static_end_s="1").to_csv(tmp_path / "trials.csv", index=False)
    for trial in read_study(tmp_path).trials:
        assert all(trial.side in path.as_posix() for path in trial.wearable.both)
