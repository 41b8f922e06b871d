"""The trials table: rows, covariates, and faults with row and column."""

from __future__ import annotations

from pathlib import Path

import pytest

from twinangle.errors import StudyError
from twinangle.signals.recording import Interval
from twinangle.study.trial_row import Needs
from twinangle.study.trials_table import read_trials

NOTHING = Needs(static=False, reference=True, events=False)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    inside = tmp_path / "study"
    (inside / "data").mkdir(parents=True)
    for name in ("a.csv", "b.csv", "data/c.csv"):
        (inside / name).write_text("time_s\n")
    (tmp_path / "outside.csv").write_text("time_s\n")
    return inside


def read(folder: Path, text: str, needs: Needs = NOTHING):
    (folder / "trials.csv").write_bytes(text.encode())
    return read_trials(folder, "trials.csv", needs)[1]


def faults(folder: Path, text: str, needs: Needs = NOTHING) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read(folder, text, needs)
    return str(caught.value).split("\n")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_any_delimiter_and_line_end_is_read(folder, delimiter):
    text = "participant,wearable,end_s\r\nP1,a.csv,20\r\n\r\nP2,b.csv,\r\n".replace(",", delimiter)

    first, second = read(folder, text)

    assert (first.participant, first.end_s, first.row) == ("P1", 20.0, 2)
    assert (second.participant, second.end_s, second.row) == ("P2", None, 4)


def test_a_decimal_comma_is_read_where_commas_part_no_cells(folder):
    (trial,) = read(folder, "participant;wearable;end_s;speed_m_s\nP1;a.csv;20,5;1,25\n")

    assert trial.end_s == 20.5
    assert trial.covariates == {"speed_m_s": 1.25}


def test_further_columns_are_covariates(folder):
    text = "participant,wearable,age_years,group,note\nP1,a.csv,0,3,x\nP2,b.csv,,b,\n"

    first, second = read(folder, text)

    assert first.covariates == {"age_years": 0.0, "group": "3", "note": "x"}
    assert second.covariates == {"group": "b"}


def test_calibration_is_a_stretch_or_a_file(folder):
    text = (
        "participant,wearable,static_start_s,static_end_s,static,functional\n"
        "P1,a.csv,1,2,,b.csv\nP2,a.csv,,,b.csv,\n"
    )

    first, second = read(folder, text)

    assert first.static == Interval(1.0, 2.0)
    assert first.functional == folder / "b.csv"
    assert second.static == folder / "b.csv"
    assert second.functional is None


def test_an_excluded_row_keeps_its_reason_and_needs_no_files(folder):
    text = "participant,wearable,exclude\nP1,lost.csv,battery empty\n"

    (trial,) = read(folder, text, Needs(static=True, reference=True, events=True))

    assert trial.exclude == "battery empty"


@pytest.mark.parametrize(
    ("row", "place", "parts"),
    [
        ("P1,c1,left,,,,,,,", "column 'wearable'", ["empty"]),
        ("P1,c1,left,d.csv,,,,,,", "column 'wearable'", ["'d.csv'", "does not exist"]),
        ("P1,c1,left,data,,,,,,", "column 'wearable'", ["not a file"]),
        ("P1,c1,left,../outside.csv,,,,,,", "column 'wearable'", ["leaves the study folder"]),
        ("P1,c1,left,/etc/hosts,,,,,,", "column 'wearable'", ["leaves the study folder"]),
        ("P1,c1,Left,a.csv,,,,,,", "column 'side'", ["'Left'", "Did you mean 'left'"]),
        (",c1,left,a.csv,,,,,,", "column 'participant'", ["empty"]),
        ("P1,,left,a.csv,,,,,,", "column 'condition'", ["empty"]),
        ("P1,c1,left,a.csv,,x,2,,,", "column 'static_start_s'", ["'x'", "number of seconds"]),
        ("P1,c1,left,a.csv,,nan,2,,,", "column 'static_start_s'", ["'nan'"]),
        ("P1,c1,left,a.csv,,3,2,,,", "column 'static_end_s'", ["2, not after", "= 3"]),
        ("P1,c1,left,a.csv,,,2,,,", "column 'static_end_s'", ["without 'static_start_s'"]),
        ("P1,c1,left,a.csv,,1,2,b.csv,,", "column 'static'", ["both as a file and as"]),
        ("P1,c1,left,a.csv,,,,,9,9", "column 'end_s'", ["9, not after start_s = 9"]),
        ("P1,c1,left,a.csv,,,", None, ["7 cells", "10"]),
    ],
)  # fmt: skip
def test_a_fault_names_row_and_column(folder, row, place, parts):
    header = (
        "participant,condition,side,wearable,reference,static_start_s,static_end_s,static,"
        "start_s,end_s"
    )

    found = faults(folder, f"{header}\n{row}\n")

    assert any(
        fault.startswith(f"trials.csv, row 2{', ' + place if place else ''}: ")
        and all(part in fault for part in parts)
        for fault in found
    )


def test_a_link_out_of_the_folder_is_refused(folder):
    (folder / "link.csv").symlink_to(folder.parent / "outside.csv")

    (fault,) = faults(folder, "participant,wearable\nP1,link.csv\n")

    assert "leaves the study folder" in fault


def test_a_table_outside_the_folder_is_refused(folder):
    with pytest.raises(StudyError, match="leaves the study folder"):
        read_trials(folder, "../outside.csv", NOTHING)


def test_backslashes_part_folders_too(folder):
    (trial,) = read(folder, "participant,wearable\nP1,data\\c.csv\n")

    assert trial.wearable == folder / "data" / "c.csv"


def test_the_same_trial_twice_is_refused_with_both_rows(folder):
    text = "participant,condition,wearable\nP1,indoor,a.csv\nP2,indoor,a.csv\nP1,indoor,b.csv\n"

    (fault,) = faults(folder, text)

    assert fault.startswith("trials.csv, rows 2 and 4: both are participant 'P1'")


def test_a_reference_needs_its_section(folder):
    needs = Needs(static=False, reference=False, events=False)

    (fault,) = faults(folder, "participant,wearable,reference\nP1,a.csv,b.csv\n", needs)

    assert "no [reference] section" in fault


def test_neutral_standing_is_asked_for_where_it_is_needed(folder):
    needs = Needs(static=True, reference=False, events=False)

    (fault,) = faults(folder, "participant,wearable\nP1,a.csv\n", needs)

    assert "neutral standing" in fault


def test_event_files_are_asked_for_where_they_are_needed(folder):
    needs = Needs(static=False, reference=False, events=True)

    (fault,) = faults(folder, "participant,wearable\nP1,a.csv\n", needs)

    assert "file of times" in fault


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "is empty"),
        ("participant,wearable\n", "no rows"),
        ("participant,wearble\nP1,a.csv\n", "'wearable' is missing; found 'wearble'"),
        ("participant,wearable,wearable\nP1,a.csv,a.csv\n", "'wearable' occurs twice"),
        ("participant,wearable,Side\nP1,a.csv,left\n", "'Side' must be spelt 'side'"),
    ],
)
def test_a_table_out_of_shape_is_refused(folder, text, part):
    assert part in "\n".join(faults(folder, text))


def test_a_missing_table_lists_what_is_there(folder):
    with pytest.raises(StudyError, match=r"'trails\.csv' does not exist.*'a\.csv'"):
        read_trials(folder, "trails.csv", NOTHING)


def test_standing_is_refused_for_a_ready_made_angle(folder):
    (fault,) = faults(folder, "participant,wearable,standing_deg\nP1,a.csv,4\n")

    assert "row 2, column 'standing_deg'" in fault
    assert "taken as it is" in fault


@pytest.mark.parametrize("mark", ['"battery', '"x\nP2,b.csv,"y'])
def test_a_stray_quotation_mark_loses_no_recording(folder, mark):
    text = f"participant,wearable,exclude\nP1,a.csv,{mark}\nP3,b.csv,\nP4,b.csv,\n"

    (fault,) = faults(folder, text)

    assert fault.startswith("trials.csv, row 2: a quotation mark opens a cell")


def test_a_separator_too_many_at_the_end_of_header_or_rows_is_passed_over(folder):
    for text in (
        "participant;wearable;\nP1;a.csv\n",
        "participant;wearable\nP1;a.csv;\n",
        "participant;wearable;\nP1;a.csv;\n",
    ):
        (trial,) = read(folder, text)
        assert (trial.participant, trial.covariates) == ("P1", {})
