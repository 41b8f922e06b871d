"""A first study file for a folder: recognised by names, open where names do not tell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from twinangle.errors import StudyError
from twinangle.formats import describe_file
from twinangle.init import propose_study, suggest_section, write_proposal
from twinangle.study import read_study

SENSORS = [
    f"{segment}_{kind}_{axis}"
    for segment in ("thigh", "shank")
    for kind in ("acc", "gyr", "mag")
    for axis in "xyz"
]


def write(path: Path, names, *, n=20, time=True) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(len(names))
    rows = [",".join((["time_s"] if time else []) + list(names))]
    for k in range(n):
        cells = [f"{value:.4f}" for value in rng.normal(size=len(names))]
        rows.append(",".join(([f"{k / 100}"] if time else []) + cells))
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for person in ("P01", "P02"):
        for condition in ("indoor", "outdoor"):
            write(tmp_path / f"wearable/{person}_{condition}_left.csv", SENSORS)
        write(tmp_path / f"reference/{person}_indoor_left.csv", ["knee_deg"])
    return tmp_path


def test_a_folder_is_read_into_a_study_that_only_lacks_what_names_do_not_tell(folder):
    proposal = propose_study(folder)
    write_proposal(folder, proposal)

    with pytest.raises(StudyError) as caught:
        read_study(folder)
    message = str(caught.value)
    assert message.count("is '?'; accepted") == 3  # the three units
    assert message.count("no neutral standing is given") == 1
    assert "rows 2 to 5 (4 rows)" in message

    text = proposal.study_toml
    for unit in ("m/s^2", "rad/s", "uT"):
        text = text.replace('"?"', f'"{unit}"', 1)
    (folder / "study.toml").write_text(text)
    (folder / "trials.csv").write_text(proposal.trials_csv.replace(",,,,,\n", ",1,2,,,\n"))
    study = read_study(folder)
    assert [trial.identity for trial in study.trials] == [
        (person, "1", condition, "1", "left")
        for person in ("P01", "P02")
        for condition in ("indoor", "outdoor")
    ]
    assert [trial.reference is not None for trial in study.trials] == [True, False] * 2
    assert study.wearable.columns == tuple(SENSORS)
    assert study.reference is not None
    assert study.reference.columns == ("knee_deg",)


def test_what_is_open_is_asked(folder):
    write(folder / "reference" / "P09_indoor_left.csv", ["knee_deg"])
    write(folder / "notes.csv", ["heart_beat"])
    (folder / "empty.csv").write_text("")

    questions = "\n".join(propose_study(folder).open_questions)
    assert "`propose_standing` in a notebook finds it" in questions

    assert "reference/P09_indoor_left.csv: belongs to no wearable file" in questions
    assert "notes.csv: no channel is recognised" in questions
    assert "empty.csv: is empty" in questions
    assert 'study.toml: accelerometer = "?"' in questions


def test_nothing_is_ever_overwritten(folder):
    proposal = propose_study(folder)
    (folder / "trials.csv").write_text("mine\n")

    with pytest.raises(StudyError, match=r"trials\.csv: exists already"):
        write_proposal(folder, proposal)

    assert (folder / "trials.csv").read_text() == "mine\n"
    assert not (folder / "study.toml").exists()


def test_a_folder_without_recordings_is_refused(tmp_path):
    with pytest.raises(StudyError, match="no recording of two inertial sensors"):
        propose_study(tmp_path)
    with pytest.raises(StudyError, match="is not a folder"):
        propose_study(tmp_path / "none")


@pytest.mark.parametrize(
    ("names", "parts"),
    [
        (
            [f"{s}Quat{a}" for s in ("Thigh", "Shank") for a in "WXYZ"],
            ['kind = "orientation"', '["ThighQuatW", "ThighQuatX", "ThighQuatY", "ThighQuatZ"]'],
        ),
        (
            [f"forearm gyro {a}" for a in "xyz"]
            + [f"forearm accel {a}" for a in "xyz"]
            + [f"upper arm gyro {a}" for a in "xyz"]
            + [f"upper arm accel {a}" for a in "xyz"],
            ['gyroscope = ["forearm gyro x", "forearm gyro y", "forearm gyro z"]'],
        ),
        (["knee_rad", "hip_rad"], ['kind = "angle"', 'angle = "knee_rad"', 'unit = "rad"']),
        (["flexion"], ['unit = "?"']),
    ],
)
def test_sections_are_suggested_from_names(tmp_path, names, parts):
    section = suggest_section(describe_file(write(tmp_path / "x.csv", names)))

    assert section is not None
    assert 'time = "time_s"' in section
    for part in parts:
        assert part in section


def test_a_file_without_times_or_known_names_gets_no_guess(tmp_path):
    assert suggest_section(describe_file(write(tmp_path / "a.csv", ["emg"]))) is None
    section = suggest_section(describe_file(write(tmp_path / "b.csv", ["knee_deg"], time=False)))
    assert section is not None
    assert 'rate_hz = "?"' in section
    assert 'time_unit = "s", "ms" or "us"' in section


@pytest.mark.parametrize(
    ("name", "unit"),
    [("ms", "ms"), ("msec", "ms"), ("µs", "us"), ("us", "us"), ("s", ""), ("sec", "")],
)
def test_a_column_called_by_a_unit_of_time_is_the_time(tmp_path, name, unit):
    ticks = {"ms": 1e3, "us": 1e6, "": 1.0}[unit]
    rows = "\n".join(f"{k / 100 * ticks:g},{k % 60}" for k in range(500))
    path = tmp_path / "a.csv"
    path.write_text(f"{name},knee_deg\n{rows}\n", encoding="utf-8")

    found = describe_file(path)
    assert found.rate_hz == pytest.approx(100)
    section = suggest_section(found)
    assert f'time = "{name}"' in section
    assert (f'time_unit = "{unit}"' in section) == bool(unit)
