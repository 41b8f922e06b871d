"""Folders as devices export them: units in names, sensors by number, headers, odd codes.

The names are invented after common practice, no source.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.errors import StudyError
from twinangle.formats import describe_file
from twinangle.init import propose_study, suggest_section, write_proposal
from twinangle.init.name_parts import name_parts
from twinangle.init.paths import identity, place_of
from twinangle.init.units_in_names import angle_unit, sensor_unit
from twinangle.study import read_study

AXES = "xyz"
THIGH_AND_SHANK = [
    f"{part}_{kind}_{axis}"
    for part in ("thigh", "shank")
    for kind in ("acc", "gyr")
    for axis in AXES
]


def write(path: Path, names, *, time="time_s", above=(), between=",") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    values = np.random.default_rng(len(names)).normal(size=(12, len(names))).round(3)
    rows = [[k * 10 if "ms" in time else k / 100, *row] for k, row in enumerate(values.tolist())]
    lines = [*above, *(between.join(map(str, row)) for row in ([time, *names], *rows))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def drafted(folder):
    proposal = propose_study(folder)
    write_proposal(folder, proposal)
    rows = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    return proposal, tomllib.loads(proposal.study_toml), rows


@pytest.mark.parametrize(
    ("name", "instrument", "unit"),
    [
        ("Gyr_X [deg/s]", "gyroscope", "deg/s"),
        ("Gyr X (°/s)", "gyroscope", "deg/s"),
        ("gyr_x_dps", "gyroscope", "deg/s"),
        ("gyr_deg_s_x", "gyroscope", "deg/s"),
        ("Gyro.X [rad/s]", "gyroscope", "rad/s"),
        ("acc_x_g", "accelerometer", "g"),
        ("Acc X [G]", "accelerometer", "g"),
        ("acc_g_x", "accelerometer", "g"),
        ("acc_x_mg", "accelerometer", "mg"),
        ("Acc X (m/s²)", "accelerometer", "m/s^2"),
        ("acc_x_m_s2", "accelerometer", "m/s^2"),
        ("Acc X [m s-2]", "accelerometer", "m/s^2"),
        ("Mag X [µT]", "magnetometer", "uT"),
        ("Mag X [G]", "magnetometer", "gauss"),
        ("Mag X [mT]", "magnetometer", None),  # no study file may state it: asked for
        ("gyr_x_g", "gyroscope", None),
        ("acc_x", "accelerometer", None),
    ],
)
def test_the_unit_in_a_name(name, instrument, unit):
    assert sensor_unit([name], instrument) == unit


def test_names_that_give_two_units_give_none():
    assert sensor_unit(["acc_x_g", "acc_y_mg"], "accelerometer") is None
    assert sensor_unit(["acc_x_g", "acc_y"], "accelerometer") is None


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Flex/Ext [deg]", "deg"),
        ("knee angle (°)", "deg"),
        ("KneeDeg", "deg"),
        ("flexion_degrees", "deg"),
        ("knee_rad", "rad"),
        ("Ch1 [V]", "V"),
        ("knee", None),
    ],
)
def test_the_unit_in_the_name_of_an_angle(name, unit):
    assert angle_unit(name) == unit


def test_units_in_names_are_taken_and_said(tmp_path):
    kinds = ("Acc_{} [g]", "Gyr_{} [deg/s]")
    sensors = [
        f"{part}_{kind.format(axis)}"
        for part in ("Thigh", "Shank")
        for kind in kinds
        for axis in "XYZ"
    ]
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_imu.csv", sensors, time="time_ms")
        write(tmp_path / f"{person}_gonio.csv", ["Flex/Ext [deg]"], time="Timestamp [ms]")
    proposal, found, _ = drafted(tmp_path)
    assert found["wearable"]["units"] == {"accelerometer": "g", "gyroscope": "deg/s"}
    assert found["wearable"]["time_unit"] == found["reference"]["time_unit"] == "ms"
    assert found["reference"]["unit"] == "deg"
    assert '"?"' not in proposal.study_toml
    assert 'gyroscope = "deg/s"   # by the columns\' names' in proposal.study_toml
    said = 'unit = "deg"                     # by the column\'s name'
    assert said in proposal.study_toml


@pytest.mark.parametrize(
    ("name", "instrument", "axis", "rest"),
    [
        ("S1_acc_x", "accelerometer", "x", "S1"),
        ("00B4217C Gyr Z", "gyroscope", "z", "00B4217C"),
        ("AccX1", "accelerometer", "x", "1"),
        ("gyro_2_y", "gyroscope", "y", "2"),
        ("Acc_X_S2", "accelerometer", "x", "S2"),
        ("S1AccX", "accelerometer", "x", "S1"),
        ("Sensor 1 Angular Velocity Y", "gyroscope", "y", "Sensor 1"),
        ("IMU2.Quat.W", "quaternion", "w", "IMU2"),
    ],
)
def test_a_name_is_taken_apart(name, instrument, axis, rest):
    found = name_parts(name)
    assert (found.instrument, found.axis, found.rest) == (instrument, axis, rest)


@pytest.mark.parametrize("name", ["accuracy", "magic_x", "battery", "time_s", "acc", "sequence_x"])
def test_other_names_are_no_channel_of_a_sensor(name):
    assert name_parts(name) is None


FIRST_AND_SECOND = {
    "S1 and S2": ("S1_{}_{}", "S2_{}_{}"),
    "serial numbers": ("00B4217C {} {}", "00B42183 {} {}"),
    "numbers at the end": ("{}{}1", "{}{}2"),
}


@pytest.mark.parametrize("form", FIRST_AND_SECOND)
def test_sensors_by_number_are_asked_about_and_never_guessed(tmp_path, form):
    both = [
        name.format(kind, axis)
        for name in FIRST_AND_SECOND[form]
        for kind in ("Acc", "Gyro")
        for axis in "XYZ"
    ]
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_imu.csv", both)
        write(tmp_path / f"{person}_gonio.csv", ["elbow_deg"])
    proposal, found, rows = drafted(tmp_path)
    assert rows["reference"].tolist() == ["P01_gonio.csv", "P02_gonio.csv"]
    assert "proximal" not in found["wearable"]
    asked = [text for text in proposal.open_questions if '[wearable."?' in text]
    assert len(asked) == 2
    assert all("if on the upper arm" in text and "on the forearm" in text for text in asked)
    assert "bent and stretched" in proposal.study_toml  # what decides it
    with pytest.raises(StudyError) as caught:
        read_study(tmp_path)
    assert str(caught.value).count("is what `twinangle init` left open: write") == 2
    assert "missing" not in str(caught.value).replace("file is missing", "")
    # The two lines edited, as they ask for, the columns are where they belong.
    heads = [line for line in proposal.study_toml.split("\n") if line.startswith('[wearable."?')]
    text = proposal.study_toml.replace(heads[0], "[wearable.distal]")
    text = text.replace(heads[1], "[wearable.proximal]")
    edited = tomllib.loads(text)["wearable"]
    assert edited["distal"]["gyroscope"] == both[3:6]
    assert edited["proximal"]["accelerometer"] == both[6:9]


def test_three_sensors_are_asked_about(tmp_path):
    names = [f"S{k}_{kind}_{axis}" for k in (1, 2, 3) for kind in ("acc", "gyr") for axis in AXES]
    section = suggest_section(describe_file(write(tmp_path / "a.csv", names)))
    assert section.count('[wearable."? S') == 3
    assert "Take out the others" in section


LONE = [f"{kind}_{axis}" for kind in ("acc", "gyr") for axis in AXES]


@pytest.mark.parametrize("form", ["{p}_hall_{s}.csv", "{s}/{p}_hall.csv"])
@pytest.mark.parametrize("labels", [("S1", "S2"), ("00B4217C", "00B42183")])
def test_one_file_a_sensor_by_number_is_asked_about(tmp_path, form, labels):
    for person in ("P01", "P02"):
        for label in labels:
            write(tmp_path / form.format(p=person, s=label), LONE)
        write(tmp_path / f"{person}_hall_gonio.csv", ["knee_deg"])
    proposal, found, rows = drafted(tmp_path)
    assert found["wearable"]["files"] == {"proximal": "?", "distal": "?"}
    assert rows["participant"].tolist() == ["P01", "P02"]
    assert rows["reference"].tolist() == ["P01_hall_gonio.csv", "P02_hall_gonio.csv"]
    asked = [text for text in proposal.open_questions if 'proximal = "?"' in text]
    assert len(asked) == 1
    # Either pattern that is offered reads the files.
    first, second = asked[0].split("# ")[1].split(" or ")
    text = (tmp_path / "study.toml").read_text(encoding="utf-8")
    text = text.replace('proximal = "?"', f"proximal = {second}")
    text = text.replace('distal = "?"', f"distal = {first}").replace(
        'accelerometer = "?"', 'accelerometer = "g"'
    )
    text = text.replace('gyroscope = "?"', 'gyroscope = "deg/s"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    rows.assign(static_start_s="0", static_end_s="1").to_csv(tmp_path / "trials.csv", index=False)
    study = read_study(tmp_path)
    assert {
        path.relative_to(tmp_path).as_posix()
        for trial in study.trials
        for path in trial.wearable.both
    } == {form.format(p=person, s=label) for person in ("P01", "P02") for label in labels}
    assert all(labels[1] in trial.wearable.both[0].as_posix() for trial in study.trials)


def test_goniometers_are_never_paired_with_each_other_beside_sensors(tmp_path):
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_box.csv", LONE)
        write(tmp_path / f"{person}_gonio.csv", ["knee_deg"])
    proposal, _, rows = drafted(tmp_path)
    assert rows["wearable"].tolist() == ["P01_box.csv", "P02_box.csv"]
    assert rows["reference"].tolist() == ["P01_gonio.csv", "P02_gonio.csv"]
    assert "taken for the wearable" not in "\n".join(proposal.recognised)


HEADERS = {
    "three lines": ("Device: Logger 3, firmware 2.1", "Rate, 100 Hz", "Export: 2026-01-02 10:11"),
    "a table of its own": ("Instrument;Goniometer", "Channel,Range,Zero", "1,150,0"),
    "as wide as the data": ("Device,Logger 3", "Firmware,2.1", "Rate,100"),
    "names and values": ("Device", "Range,Zero", "150,0", "Rate,100"),
}


@pytest.mark.parametrize("form", HEADERS)
def test_lines_of_a_device_above_the_names(tmp_path, form):
    found = describe_file(write(tmp_path / "a.csv", ["knee_deg"], above=HEADERS[form]))
    assert [channel.name for channel in found.channels] == ["time_s", "knee_deg"]
    assert found.n_samples == 12


def test_a_row_with_a_word_in_it_is_not_taken_for_the_names(tmp_path):
    path = write(tmp_path / "a.csv", ["knee_deg", "foot"])
    lines = path.read_text(encoding="utf-8").split("\n")
    for row in (2, 4):
        lines[row] = ",".join([*lines[row].split(",")[:2], "EVENT"])
    path.write_text("\n".join(lines), encoding="utf-8")
    found = describe_file(path)
    assert [channel.name for channel in found.channels] == ["time_s", "knee_deg"]
    assert found.n_samples == 12


@pytest.mark.parametrize(
    ("path", "participant", "condition", "trial"),
    [
        ("S 01 walk imu.csv", "S01", "walk", "1"),
        ("sub_7_hall_imu.csv", "sub7", "hall", "1"),
        ("Participant 12/trial 2 imu.csv", "Participant12", "all", "2"),
        ("P 3 run_2.csv", "P3", "all", "2"),
        ("S01 walk.csv", "S01", "walk", "1"),
        ("steps 20 P01.csv", "P01", "steps 20", "1"),
        ("S01 post2.csv", "S01", "post2", "1"),
        ("D1 walk.csv", "D1", "walk", "1"),
    ],
)
def test_a_code_with_a_gap_is_one_code(path, participant, condition, trial):
    found = identity(place_of(path).tokens)
    assert (found["participant"], found["condition"], found["trial"]) == (
        participant,
        condition,
        trial,
    )


def test_a_goniometer_of_unknown_columns_is_a_blank_reference(tmp_path):
    for person in ("S 01", "S 02"):
        write(tmp_path / f"{person} walk imu.csv", THIGH_AND_SHANK)
        write(tmp_path / f"{person} walk gonio.csv", ["Ch1 [V]", "Ch2 [V]"], time="Timestamp [ms]")
    proposal, found, rows = drafted(tmp_path)
    assert rows["reference"].tolist() == ["S 01 walk gonio.csv", "S 02 walk gonio.csv"]
    assert found["reference"] == {
        "kind": "angle", "time": "Timestamp [ms]", "time_unit": "ms", "angle": "?", "unit": "V",
        "gain": "?", "sign": 1,
    }  # fmt: skip
    assert 'one of: "Ch1 [V]", "Ch2 [V]"' in "\n".join(proposal.open_questions)
    with pytest.raises(StudyError, match=r"\[reference\] `angle` is '\?', which"):
        read_study(tmp_path)


def test_notes_beside_the_recordings_are_no_reference(tmp_path):
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}.csv", THIGH_AND_SHANK)
    write(tmp_path / "notes.csv", ["weight"])
    _, found, rows = drafted(tmp_path)
    assert "reference" not in found
    assert rows["reference"].tolist() == ["", ""]
