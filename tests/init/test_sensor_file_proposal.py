"""What is proposed where each sensor wrote a file of its own."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.formats import describe_file
from twinangle.init import propose_study, suggest_section, write_proposal
from twinangle.study import read_study

SENSOR = tuple(f"{kind}_{axis}" for kind in ("acc", "gyr") for axis in "xyz")


def write(path: Path, names=SENSOR) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    values = np.random.default_rng(len(path.name)).normal(size=(20, len(names)))
    frame = pd.DataFrame(values, columns=list(names))
    frame.insert(0, "time_s", np.arange(20) / 100)
    frame.to_csv(path, index=False)
    return path


@pytest.mark.parametrize(
    ("names", "patterns", "cells"),
    [
        (
            ["{p}_hall_{s}.csv"],
            ["{wearable}_thigh.csv", "{wearable}_shank.csv"],
            ["P01_hall", "P02_hall"],
        ),
        (
            ["{p}/hall/{s}.csv"],
            ["{wearable}/thigh.csv", "{wearable}/shank.csv"],
            ["P01/hall", "P02/hall"],
        ),
        (
            ["{s}/{p}_hall.csv"],
            ["thigh/{wearable}", "shank/{wearable}"],
            ["P01_hall.csv", "P02_hall.csv"],
        ),
        (["{p}_{s}_hall-{p}.csv"], ["{proximal_file}", "{distal_file}"], None),
    ],
)
def test_pairs_of_files_become_patterns(tmp_path, names, patterns, cells):
    for person in ("P01", "P02"):
        for segment in ("thigh", "shank"):
            write(tmp_path / names[0].format(p=person, s=segment))
        write(tmp_path / f"reference/{person}_hall.csv", ["knee_deg"])

    proposal = propose_study(tmp_path)

    found = tomllib.loads(proposal.study_toml)["wearable"]
    assert [found["files"]["proximal"], found["files"]["distal"]] == patterns
    assert found["proximal"]["gyroscope"] == found["distal"]["gyroscope"] == list(SENSOR[3:])
    assert any("on one clock" in text for text in proposal.open_questions)
    write_proposal(tmp_path, proposal)
    table = pd.read_csv(tmp_path / "trials.csv", dtype=str, keep_default_na=False)
    if cells is not None:
        assert table["wearable"].tolist() == cells
        assert table["reference"].str.startswith("reference/").all()
    table.assign(static_start_s="0", static_end_s="1").to_csv(tmp_path / "trials.csv", index=False)
    text = proposal.study_toml.replace('"?"', '"m/s^2"', 1).replace('"?"', '"rad/s"', 1)
    (tmp_path / "study.toml").write_text(text)
    study = read_study(tmp_path)
    for trial in study.trials:
        thigh, shank = trial.wearable.both
        assert "thigh" in thigh.as_posix()
        assert "shank" in shank.as_posix()
        assert trial.participant in thigh.as_posix()
        assert trial.participant in shank.as_posix()


def test_a_segment_may_stand_in_the_channels_alone(tmp_path):
    write(tmp_path / "P01_a7.csv", [f"femur {name}" for name in SENSOR])
    write(tmp_path / "P01_b9.csv", [f"tibia {name}" for name in SENSOR])

    # Their names share no more than the person, but there are no others: it is said.
    proposal = propose_study(tmp_path)

    assert (
        "P01_a7.csv and P01_b9.csv: taken for the two sensors of one recording."
        in proposal.open_questions
    )
    (tmp_path / "P01_a7.csv").rename(tmp_path / "P01_hall.csv")
    (tmp_path / "P01_b9.csv").rename(tmp_path / "P01_hall.txt")

    proposal = propose_study(tmp_path)

    assert tomllib.loads(proposal.study_toml)["wearable"]["files"] == {
        "proximal": "{proximal_file}",
        "distal": "{distal_file}",
    }


@pytest.mark.parametrize(
    ("names", "place"),
    [(SENSOR, "wearable.?"), ([f"tibia {name}" for name in SENSOR], "distal")],
)
def test_one_sensors_file_is_described_with_its_part_of_the_section(tmp_path, names, place):
    section = suggest_section(describe_file(write(tmp_path / "x.csv", names)))

    assert section is not None
    found = tomllib.loads(section)
    sensor = found[place] if "?" in place else found["wearable"][place]
    assert sensor["gyroscope"] == list(names[3:])
    assert found["wearable"]["kind"] == "inertial"
    assert "[wearable.files]" in section


def test_a_lone_or_unplaced_sensor_is_asked_about(tmp_path):
    for segment in ("thigh", "shank"):
        write(tmp_path / f"P01_hall_{segment}.csv")
    write(tmp_path / "P02_hall_thigh.csv")
    write(tmp_path / "P03_hall_A12.csv")

    proposal = propose_study(tmp_path)

    said = "\n".join(proposal.open_questions)
    assert "P02_hall_thigh.csv: holds one sensor; no file of the other segment" in said
    assert "P03_hall_A12.csv: holds one sensor; neither its channels nor its name tell" in said
    assert proposal.recognised[:-1] == (
        "P01_hall_thigh.csv and P01_hall_shank.csv: wearable, one file a sensor",
    )


def test_standing_in_a_file_of_its_own_goes_to_its_trials(tmp_path):
    both = [f"{segment}_{name}" for segment in ("thigh", "shank") for name in SENSOR]
    for name in ("P01_static", "P01_hall", "P01_path", "P02_hall"):
        write(tmp_path / f"{name}.csv", both)

    proposal = propose_study(tmp_path)

    rows = [line.split(",") for line in proposal.trials_csv.splitlines()]
    static = rows[0].index("static")
    assert [row[static] for row in rows[1:]] == ["P01_static.csv", "P01_static.csv", ""]
    assert "P01_static.csv: wearable, neutral standing" in proposal.recognised


def test_of_two_sides_one_is_proposed_and_said(tmp_path):
    names = [
        f"{side}_{segment}_{name}"
        for side in ("right", "left")
        for segment in ("thigh", "shank")
        for name in SENSOR
    ]
    section = suggest_section(describe_file(write(tmp_path / "P01.csv", names)))

    assert section is not None
    assert section.startswith("# The file holds both sides; these are the right ones.")
    found = tomllib.loads(section)["wearable"]
    assert found["proximal"]["gyroscope"] == [f"right_thigh_gyr_{axis}" for axis in "xyz"]


def test_markers_without_a_declared_unit_are_recognised_by_their_columns(tmp_path):
    names = [f"{m}_{a}_mm" for m in ("R_GTR", "R_Knee", "R_HF", "R_Ankle") for a in "xyz"]
    section = suggest_section(describe_file(write(tmp_path / "m.csv", names)))

    assert section is not None
    found = tomllib.loads(section)["reference"]
    assert found["kind"] == "markers"
    assert found["marker_columns"] == "{marker}_{axis}_mm"
    assert found["unit"] == "mm"
    assert found["time"] == "time_s"
