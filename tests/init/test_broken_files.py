"""A file that cannot be read has its row all the same, or is said to have none."""

import numpy as np
import pandas as pd
import pytest

from twinangle.errors import StudyError
from twinangle.init import propose_study

TIMES = np.arange(60) / 100
SENSORS = [f"{part}_{kind}_{axis}" for part in ("thigh", "shank") for kind in ("acc", "gyr")
           for axis in "xyz"]  # fmt: skip


def write(path, names, *, keep=1.0):
    """Write a recording, and only a part of its bytes as where writing was broken off."""
    rng = np.random.default_rng(3)
    columns = {name: rng.normal(size=TIMES.size).round(4) for name in names}
    pd.DataFrame({"time_s": TIMES} | columns).to_csv(path, index=False)
    text = path.read_bytes()
    path.write_bytes(text[: int(keep * len(text))])


@pytest.fixture
def folder(tmp_path):
    for person in ("P01", "P02", "P03"):
        broken = 0.6 if person == "P02" else 1.0
        write(tmp_path / f"{person}_indoor_left_imu.csv", SENSORS, keep=broken)
        write(tmp_path / f"{person}_indoor_left_gonio.csv", ["knee_deg"])
    return tmp_path


def rows_of(proposal):
    return [line.split(",") for line in proposal.trials_csv.splitlines()[1:]]


def test_a_file_that_was_cut_off_has_its_row_and_its_reference(folder):
    proposal = propose_study(folder)

    rows = rows_of(proposal)
    assert [row[0] for row in rows] == ["P01", "P02", "P03"]
    assert "P02_indoor_left_imu.csv" in rows[1]
    assert "P02_indoor_left_gonio.csv" in rows[1]
    (told,) = (text for text in proposal.open_questions if "P02_indoor_left_imu" in text)
    assert "the file seems to have been cut off while it was written" in told
    assert "So far trials.csv names it all the same, by its name and its first rows" in told
    assert not any("belongs to no wearable" in text for text in proposal.open_questions)
    sound = propose_study_of_the_sound(folder)
    assert proposal.study_toml == sound.study_toml


def propose_study_of_the_sound(folder):
    (folder / "P02_indoor_left_imu.csv").unlink()
    (folder / "P02_indoor_left_gonio.csv").unlink()
    return propose_study(folder)


def test_a_reference_with_a_broken_row_stands_in_its_row(folder):
    write(folder / "P02_indoor_left_imu.csv", SENSORS)
    path = folder / "P03_indoor_left_gonio.csv"
    path.write_text(f"{path.read_text()}0.6\n0.61,2.0\n")

    proposal = propose_study(folder)

    assert "P03_indoor_left_gonio.csv" in rows_of(proposal)[2]
    (told,) = (text for text in proposal.open_questions if "P03_indoor_left_gonio" in text)
    assert "row 62: has 1 cell(s) where the header has 2" in told
    assert "So far trials.csv names it all the same" in told


def test_a_file_that_is_like_no_other_is_said_to_have_no_row(folder):
    (folder / "P04_indoor_left_imu.csv").write_text("time_s,lone\n0,1\n0.01\n")

    proposal = propose_study(folder)

    assert "P04" not in proposal.trials_csv
    (told,) = (text for text in proposal.open_questions if "P04_indoor_left_imu" in text)
    assert "So far no row of trials.csv names it" in told


def test_a_file_of_unknown_columns_is_said_to_have_no_row(folder):
    write(folder / "P04_indoor_left_other.csv", ["lone"])
    proposal = propose_study(folder)
    (told,) = (text for text in proposal.open_questions if "P04_indoor_left_other" in text)
    assert told.endswith("So far no row of trials.csv names it.")


def test_a_folder_of_broken_files_alone_is_refused_with_the_reason(tmp_path):
    write(tmp_path / "P01_imu.csv", SENSORS, keep=0.6)
    with pytest.raises(StudyError, match="seems to have been cut off"):
        propose_study(tmp_path)
