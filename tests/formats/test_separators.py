"""The separator is the one that parts the rows evenly, whatever stands in names and numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, read_recording
from twinangle.init import suggest_section

TIMES = np.arange(120) / 100
ANGLE = 30 + 30 * np.sin(2 * np.pi * TIMES)


def comma(value: float) -> str:
    return f"{value:.3f}".replace(".", ",")


def rows(part: str, number=comma, end: str = "") -> str:
    return "".join(
        f"{number(t)}{part}{number(a)}{end}\n" for t, a in zip(TIMES, ANGLE, strict=True)
    )


def point(value: float) -> str:
    return f"{value:.3f}"


CONTINENTAL = {
    "two columns": ("time_s;knee_deg\n" + rows(";"), "time_s", "knee_deg"),
    "tabs": ("time_s\tknee_deg\n" + rows("\t"), "time_s", "knee_deg"),
    "a title full of commas": (
        "Walking, trial 1, left knee, flexion, 3 March\ntime_s;knee_deg\n" + rows(";"),
        "time_s",
        "knee_deg",
    ),
    "names with commas": (
        "time_s;Knee, flexion, left (deg)\n" + rows(";"),
        "time_s",
        "Knee, flexion, left (deg)",
    ),
    "names with semicolons": (
        '"time_s","knee; left; flexion"\n' + rows(",", point),
        "time_s",
        "knee; left; flexion",
    ),
    "a header that ends with the separator": (
        "time_s;knee_deg;\n" + rows(";"),
        "time_s",
        "knee_deg",
    ),
    "rows that end with the separator": (
        "time_s;knee_deg\n" + rows(";", end=";"),
        "time_s",
        "knee_deg",
    ),
    "both end with the separator": (
        "time_s;knee_deg;\n" + rows(";", end=";"),
        "time_s",
        "knee_deg",
    ),
    "commas, a header that ends with one": (
        "time_s,knee_deg,\n" + rows(",", point),
        "time_s",
        "knee_deg",
    ),
    "commas, rows that end with one": (
        "time_s,knee_deg\n" + rows(",", point, ","),
        "time_s",
        "knee_deg",
    ),
    "units in a row": ("time_s;knee_deg\ns;deg\n" + rows(";"), "time_s", "knee_deg"),
}


@pytest.mark.parametrize("name", CONTINENTAL)
def test_each_is_described_and_read_as_a_person_would(tmp_path, name):
    text, time, angle = CONTINENTAL[name]
    path = tmp_path / "goni.csv"
    path.write_text(text)

    described = describe_file(path)
    recording = read_recording(path, columns=[angle], time=time)

    assert described.time == "time_s"
    assert [channel.name for channel in described.channels] == [time, angle]
    assert described.n_samples == TIMES.size
    assert described.rate_hz == pytest.approx(100)
    assert_allclose(recording.values[:, 0], ANGLE, atol=6e-4)
    if name == "two columns":
        assert 'angle = "knee_deg"' in suggest_section(described)


def test_a_message_on_a_continental_file_names_its_columns(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text("time_s;knee_deg\n" + rows(";"))
    with pytest.raises(RecordingError, match="'knee_deg' and 'time_s'"):
        read_recording(path, columns=["kne"], time="time_s")


def test_a_row_without_names_is_refused_as_such(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text(rows(";"))
    with pytest.raises(RecordingError, match="row 1: holds numbers where the column names"):
        describe_file(path)


def test_one_column_of_decimal_commas_is_one_column(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text("knee_deg\n" + "".join(f"{comma(a)}\n" for a in ANGLE))
    recording = read_recording(path, columns=["knee_deg"], rate_hz=100)
    assert_allclose(recording.values[:, 0], ANGLE, atol=6e-4)


def test_long_cells_are_cut_in_messages(tmp_path):
    path = tmp_path / "goni.csv"
    lines = ("time_s,knee_deg\n" + rows(",", point)).splitlines()
    lines[8] = "0.07," + "x" * 5000
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordingError) as caught:
        read_recording(path, columns=["knee_deg"], time="time_s")
    assert "row 9, column 'knee_deg': is 'xxx" in str(caught.value)
    assert len(str(caught.value)) < 250


def test_a_line_without_end_is_no_traceback(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text("a,b\n" + '"' + "x" * 200_000 + "\n1,2\n")
    with pytest.raises(RecordingError):
        describe_file(path)


def test_a_name_in_the_row_above_is_taken_where_the_row_of_names_has_none(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text("Time;Knee;\n;flexion;rotation\n" + rows(";", end=";0,5"))
    described = describe_file(path)
    assert [channel.name for channel in described.channels] == ["Time", "flexion", "rotation"]
    assert described.rate_hz == pytest.approx(100)


def test_a_column_left_out_for_a_stray_text_is_told(tmp_path):
    path = tmp_path / "goni.csv"
    lines = ("time_s,knee_deg,remark\n" + rows(",", point, ",")).splitlines()
    lines[8] = "0.07,#DIV/0!,"
    lines[9] += "slipped"
    path.write_text("\n".join(lines) + "\n")
    (note,) = describe_file(path).notes
    assert note == "column 'knee_deg' left out: row 9 holds '#DIV/0!' where a number should be"
