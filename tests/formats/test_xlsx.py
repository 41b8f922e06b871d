"""XLSX: written by pandas and by openpyxl, read back to the last bit."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from numpy.testing import assert_array_equal

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, read_recording

RNG = np.random.default_rng(4)
TIME = 2.0 + np.arange(150) / 64
VALUES = RNG.normal(size=(150, 2))
VALUES[20:25, 1] = np.nan


def frame() -> pd.DataFrame:
    return pd.DataFrame(VALUES, columns=["knee", "hip"]).assign(time_s=TIME, note="invented")


def book(path: Path, rows, *, title="Sheet1", **more) -> Path:
    """Write rows to a sheet, and further sheets, with openpyxl."""
    workbook = openpyxl.Workbook()
    workbook.active.title = title
    workbook.properties.creator = "Planted_Person"
    for name, content in {title: rows, **more}.items():
        sheet = workbook[name] if name in workbook.sheetnames else workbook.create_sheet(name)
        for row in content:
            sheet.append(row)
    workbook.save(path)
    return path


def first(recording) -> list[float]:
    return list(recording.columns(recording.channels[:1])[:, 0])


def test_a_table_that_pandas_wrote_is_read_to_the_last_bit(tmp_path):
    path = tmp_path / "walk.xlsx"
    frame().to_excel(path, index=False)

    recording = read_recording(path, time="time_s")

    assert recording.channels == ("knee", "hip")
    # the library writes 16 significant digits: one less than a float64 may need
    written = [[float(f"{value:.16g}") for value in row] for row in VALUES]
    assert_array_equal(recording.values, written)
    assert_array_equal(recording.values, pd.read_excel(path)[["knee", "hip"]].to_numpy())
    assert_array_equal(recording.time_s, TIME)


def test_units_under_the_names_and_text_above_them_are_understood(tmp_path):
    rows = [["An invented recording"], [], ["t", "knee"], ["s", "[deg]"], [0, 1.5], [0.5, 2.5]]

    recording = read_recording(book(tmp_path / "walk.xlsx", rows), time="t")

    assert_array_equal(recording.values, [[1.5], [2.5]])
    assert recording.units == ("deg",)
    assert "units read from the row under the header" in recording.notes[0]


def test_numbers_kept_as_text_are_read_with_either_decimal_sign(tmp_path):
    rows = [["t", "knee", "hip"], ["0,0", " 1.5 ", "n/a"], ["0,5", "-2,5e1", "7"]]

    recording = read_recording(book(tmp_path / "walk.xlsx", rows), time="t")

    assert_array_equal(recording.time_s, [0, 0.5])
    assert_array_equal(recording.values, [[1.5, np.nan], [-25, 7]])


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("oops", r"sheet 'Sheet1', cell B3 \(column 'knee'\): is 'oops'; accepted: a number"),
        ("1.234,5", r"cell B3 .*is '1\.234,5'"),
        (True, "cell B3 .*is True"),
        (dt.datetime(2001, 5, 1, 10), r"cell B3 .*is a date or a time of day \(2001-05-01 10"),
        (dt.time(10, 0, 1), r"cell B3 .*is a date or a time of day \(10:00:01"),
        ("#DIV/0!", "cell B3 .*is '#DIV/0!'"),
        ("=A2*2", "cell B3 .*is the formula '=A2.2', saved without its result"),
    ],
)
def test_a_cell_that_holds_no_number_is_told_with_its_place(tmp_path, cell, message):
    path = book(tmp_path / "walk.xlsx", [["t", "knee"], [0, 1], [1, cell], [2, 3]])

    with pytest.raises(RecordingError, match=message) as caught:
        read_recording(path, columns=["knee"], time="t")
    assert str(path) in str(caught.value)


def test_a_column_of_dates_is_no_channel_unless_asked_for(tmp_path):
    day = dt.datetime(2001, 5, 1)
    path = book(tmp_path / "walk.xlsx", [["when", "knee"], [day, 1], [day, 2]])

    assert read_recording(path, rate_hz=1).channels == ("knee",)
    with pytest.raises(RecordingError, match="cell A2"):
        read_recording(path, columns=["knee"], time="when")


def test_a_formula_with_its_result_is_a_number(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["t", "knee"], [0, 1], [1, "=A2*2"], [2, 3]])
    edited = tmp_path / "saved.xlsx"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(edited, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name.endswith("sheet1.xml"):  # as a spreadsheet saves it
                content, empty = re.subn(rb"<v ?/>|<v></v>", b"<v>4.25</v>", content)
                assert empty == 1
            new.writestr(name, content)

    assert_array_equal(first(read_recording(edited, time="t")), [1, 4.25, 3])


def test_the_sheet_that_holds_the_columns_is_read(tmp_path):
    knee, hip = [["t", "knee"], [0, 1], [1, 2]], [["t", "hip"], [0, 3], [1, 4]]
    path = book(tmp_path / "walk.xlsx", [["About"], ["invented"]], knee=knee, hip=hip)

    assert_array_equal(first(read_recording(path, columns=["hip"], time="t")), [3, 4])
    recording = read_recording(path, time="t")
    assert recording.channels == ("knee",)
    assert "sheet 'knee' read; columns of 'hip' are read when named as 'hip!column'" in str(
        recording.notes
    )


def test_equal_columns_of_two_sheets_are_told_apart_by_the_sheet(tmp_path):
    left, right = [["t", "knee"], [0, 1], [1, 2]], [["t", "knee"], [0, 3], [1, 4]]
    path = book(tmp_path / "walk.xlsx", left, title="left", right=right)

    with pytest.raises(RecordingError, match=r"on the sheets 'left' and 'right'; .*'left!knee'"):
        read_recording(path, columns=["knee"], time="t")
    recording = read_recording(path, columns=["right!knee"], time="right!t")
    assert recording.channels == ("right!knee",)
    assert_array_equal(first(recording), [3, 4])
    assert_array_equal(recording.time_s, [0, 1])


def test_an_absent_column_is_told_with_what_is_there(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["t", "knee"], [0, 1], [1, 2]], other=[["a"], [1], [2]])

    with pytest.raises(RecordingError, match=r"has no column 'kne'; it holds 'knee'.*'other!a'"):
        read_recording(path, columns=["kne"], time="t")


def test_rows_left_empty_are_gaps_and_those_at_the_end_are_left_out(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [None], [3], [None], [None]])

    assert_array_equal(first(read_recording(path, rate_hz=1)), [1, np.nan, 3])


@pytest.mark.parametrize("rows", [[], [["only", "names"]], [["a"], ["text"]]])
def test_a_workbook_without_a_table_is_told(tmp_path, rows):
    with pytest.raises(RecordingError, match=r"walk\.xlsx: holds no table"):
        read_recording(book(tmp_path / "walk.xlsx", rows), rate_hz=1)


def rewrite(path: Path, old: bytes, new: bytes) -> Path:
    """Replace bytes of the first sheet's XML."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    assert old in parts[sheet]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content.replace(old, new) if name == sheet else content)
    return path


def test_a_row_number_of_a_billion_is_refused(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [2], [3]])

    with pytest.raises(RecordingError, match="claims more than 1048576 rows"):
        read_recording(rewrite(path, b'<row r="4"', b'<row r="999999999"'), rate_hz=1)


def test_a_row_far_beyond_the_others_is_refused(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [2], [3]])

    with pytest.raises(RecordingError, match="row 900000 of its sheet 'Sheet1' follows 899996 e"):
        read_recording(rewrite(path, b'<row r="4"', b'<row r="900000"'), rate_hz=1)


def test_a_million_empty_rows_at_the_end_are_left_out(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [2]])
    end = b"</sheetData>"

    found = read_recording(rewrite(path, end, b'<row r="1048576"></row>' + end), rate_hz=1)

    assert_array_equal(first(found), [1, 2])


def test_a_size_that_the_sheet_claims_is_not_trusted(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [2]])

    found = read_recording(rewrite(path, b'ref="A1:A3"', b'ref="A1:XFD1048576"'), rate_hz=1)

    assert_array_equal(first(found), [1, 2])


def test_a_file_that_unpacks_to_far_more_is_refused(tmp_path):
    path = book(tmp_path / "walk.xlsx", [["knee"], [1], [2]])
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/more.xml", bytes(60 * 2**20))

    with pytest.raises(RecordingError, match=r"walk\.xlsx: is not a readable XLSX file: its \d+ b"):
        read_recording(path, rate_hz=1)


def test_what_is_no_workbook_is_told(tmp_path):
    (tmp_path / "walk.xlsx").write_bytes(b"no zip at all")

    with pytest.raises(RecordingError, match=r"walk\.xlsx: is not a readable XLSX file"):
        read_recording(tmp_path / "walk.xlsx", rate_hz=1)


def test_a_description_lists_the_channels_and_not_the_author(tmp_path):
    found = describe_file(book(tmp_path / "walk.xlsx", [["time_s", "knee"], [0, 1], [0.5, 2]]))

    assert (found.format, found.time, found.rate_hz) == ("XLSX", "time_s", 2)
    assert [channel.name for channel in found.channels] == ["time_s", "knee"]
    assert "Planted_Person" not in repr(found)


def test_names_over_two_rows_are_joined(tmp_path):
    numbers = [[k / 100, k, k + 0.5, k * 2.0, 1.0] for k in range(30)]
    path = book(
        tmp_path / "walk.xlsx",
        [
            ["Invented walk"],
            ["Time", "thigh", None, "shank", None],
            [None, "acc_x", "acc_y", "acc_x", "acc_y"],
            *numbers,
        ],
    )

    described = describe_file(path)
    recording = read_recording(path, columns=["shank acc_y", "thigh acc_x"], time="Time")

    assert [channel.name for channel in described.channels] == [
        "Time", "thigh acc_x", "thigh acc_y", "shank acc_x", "shank acc_y",
    ]  # fmt: skip
    assert described.time == "Time"
    assert any("made of two rows" in note for note in described.notes)
    assert_array_equal(recording.columns(recording.channels)[:3], [[1, 0], [1, 1], [1, 2]])


def test_names_over_two_rows_with_units_under_them(tmp_path):
    path = book(
        tmp_path / "walk.xlsx",
        [
            ["Time", "Knee", "Knee"],
            [None, "flexion", "rotation"],
            ["ms", "deg", "deg"],
            *[[k * 10, 30 + k, 1.0] for k in range(30)],
        ],
    )
    described = describe_file(path)
    assert [channel.name for channel in described.channels] == ["Time", "flexion", "rotation"]
    assert described.rate_hz == pytest.approx(100)
    assert [channel.unit for channel in described.channels] == ["ms", "deg", "deg"]


def test_a_unit_among_the_names_of_the_lower_row_goes_to_the_name_above(tmp_path):
    path = book(
        tmp_path / "walk.xlsx",
        [
            ["Time", "Thigh", None, "Knee"],
            ["ms", "Acc x", "Acc y", "flexion"],
            *[[k * 10, 1.0, 2.0, 30 + k % 7] for k in range(30)],
        ],
    )
    described = describe_file(path)
    assert [channel.name for channel in described.channels] == [
        "Time [ms]", "Acc x", "Acc y", "flexion",
    ]  # fmt: skip
    assert (described.time_unit, described.rate_hz) == ("ms", pytest.approx(100))
