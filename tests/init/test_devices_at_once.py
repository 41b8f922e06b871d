"""Two devices of the same columns: told apart by what varies in the names, or asked about."""

import pandas as pd
import pytest

from twinangle.init import propose_study, write_proposal
from twinangle.study import read_study

SENSORS = [f"{s}_{k}_{x}" for s in ("thigh", "shank") for k in ("acc", "gyr") for x in "xyz"]
TIME = [k / 60 for k in range(40)]


def write(folder, name, columns):
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    pd.DataFrame({"time_s": TIME} | dict.fromkeys(columns, TIME)).to_csv(path, index=False)


def study_of(folder, pattern, labels, references=("gonio",), places=("indoor", "outdoor")):
    """Write two people's files, of each place one a device; references indoors alone."""
    for person in ("P01", "P02"):
        for place in places:
            for label in labels:
                name = pattern.format(person=person, place=place, label=label)
                write(folder, f"{name}.csv", SENSORS)
        for reference in references:
            columns = {"opt": ["knee_flex", "frame"]}.get(reference, ["gonio"])
            write(folder, f"{person}_day1_{places[0]}_{reference}.csv", columns)
    return propose_study(folder)


@pytest.mark.parametrize(
    ("pattern", "labels"),
    [
        ("{person}_day1_{place}_{label}", ("strapA", "strapB")),
        ("{person}/{label}/day1_{place}", ("A", "B")),
        ("{label}/{person}_day1_{place}", ("red", "green", "blue")),
    ],
)
def test_each_device_has_its_section_and_columns(tmp_path, pattern, labels):
    found = study_of(tmp_path, pattern, labels)
    write_proposal(tmp_path, found)
    rows = pd.read_csv(tmp_path / "trials.csv", dtype=str, keep_default_na=False)
    assert list(rows["condition"]) == ["indoor", "outdoor"] * 2
    assert list(rows["participant"]) == ["P01", "P01", "P02", "P02"]
    for label in labels:
        assert f"[wearables.{label}.proximal]" in found.study_toml
        assert all(label in name for name in rows[f"wearable_{label}"])
        assert f"wearable_{label}_static_start_s" in rows
    assert [bool(name) for name in rows["reference"]] == [True, False] * 2
    (told,) = [text for text in found.open_questions if "taken for devices" in text]
    assert "one reference file goes with all of them" in told
    assert "Where they are conditions" in told
    text = found.study_toml.replace('accelerometer = "?"', 'accelerometer = "g"')
    text = text.replace('gyroscope = "?"', 'gyroscope = "deg/s"').replace('= "?"', '= "deg"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    for label in labels:
        for end in ("start_s", "end_s"):
            rows[f"wearable_{label}_static_{end}"] = 0.1 if end == "start_s" else 0.5
    rows.to_csv(tmp_path / "trials.csv", index=False)
    study = read_study(tmp_path / "study.toml")
    assert {part.wearable for part in study.parts} == set(labels)


def test_without_a_reference_what_devices_are_called_tells(tmp_path):
    found = study_of(tmp_path, "{person}_{place}_{label}", ("imu1", "imu2"), references=())
    assert "[wearables.imu2]" in found.study_toml
    assert any("that is what devices are called" in text for text in found.open_questions)


@pytest.mark.parametrize("labels", [("alpha", "beta"), ("cond1", "cond2")])
def test_where_nothing_tells_it_asks(tmp_path, labels):
    found = study_of(tmp_path, "{person}_{place}_{label}", labels, references=())
    assert "[wearable]" in found.study_toml
    assert f"indoor {labels[0]}" in found.trials_csv
    (told,) = [text for text in found.open_questions if "devices worn at once" in text]
    assert f"whether '{labels[0]}' and '{labels[1]}' in the names are conditions" in told


@pytest.mark.parametrize("labels", [("slow", "fast"), ("left", "right"), ("day1", "day2")])
def test_conditions_sides_and_days_are_no_devices(tmp_path, labels):
    found = study_of(tmp_path, "{person}_{label}", labels, references=(), places=("here",))
    assert "wearables" not in found.study_toml
    assert not any("devices" in text for text in found.open_questions)


def test_two_references_beside_them_leave_one(tmp_path):
    labels = ("strapA", "strapB")
    found = study_of(tmp_path, "{person}_day1_{place}_{label}", labels, ("gon", "opt"))
    assert "[wearables.strapA]" in found.study_toml
    assert "P01_day1_indoor_gon.csv" in found.trials_csv
    (told,) = [text for text in found.open_questions if "instruments recorded" in text]
    assert "proposed are 'strapA', 'strapB' and 'gon'" in told
