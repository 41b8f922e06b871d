"""Delimited text: what is read, and what each fault in a file is answered with."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from twinangle.errors import RecordingError, TwinangleError
from twinangle.formats import describe_file, read_event_times, read_recording

DATA = Path(__file__).resolve().parents[2] / "../shared/data"


@pytest.fixture
def read(tmp_path: Path):
    """Return a function that writes a file and reads it as a recording."""

    def write_and_read(text: str | bytes, *, name: str = "walk.csv", **asked):
        path = tmp_path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return read_recording(path, source=name, **asked)

    return write_and_read


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("name", "delimiter", "decimal"),
    [("a.csv", ",", "."), ("a.tsv", "\t", "."), ("a.csv", ";", "."), ("a.csv", ";", ",")],
)
def test_every_habit_gives_the_same_recording(tmp_path, encoding, end, name, delimiter, decimal):
    # Written with an independent library, pandas.
    frame = pd.DataFrame({"time_s": [0.0, 0.25, 0.5], "a": [1.5, np.nan, -3.25e-3], "b": [1, 2, 3]})
    path = tmp_path / name
    frame.to_csv(
        path, sep=delimiter, decimal=decimal, index=False, encoding=encoding, lineterminator=end
    )

    recording = read_recording(path, columns=["b", "a"], time="time_s")

    assert recording.channels == ("b", "a")
    assert_array_equal(recording.time_s, [0, 0.25, 0.5])
    assert_array_equal(recording.values, [[1, 1.5], [2, np.nan], [3, -3.25e-3]])


SENSIBLE = st.floats(-1e30, 1e30) | st.just(float("nan"))  # larger ones are refused


@given(
    st.lists(
        st.tuples(SENSIBLE, SENSIBLE),
        min_size=2,
        max_size=30,
    )
)
@settings(max_examples=60, deadline=None)
def test_what_pandas_writes_is_read_to_the_last_bit(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("bits") / "x.csv"
    values = np.array([*rows, (0.5, 0.5)])  # a last row that is not empty
    pd.DataFrame(values, columns=["a", "b"]).to_csv(path, index=False)

    assert_array_equal(read_recording(path, rate_hz=10).values, values)


def test_missing_cells_and_words_are_gaps(read):
    recording = read("time_s,a\n0,1\n1,\n2,NaN\n3,nan\n4,NA\n5,6\n", time="time_s")

    assert_array_equal(
        recording.columns(recording.channels)[:, 0], [1, np.nan, np.nan, np.nan, np.nan, 6]
    )


def test_signs_and_spaces_are_read_as_a_person_would(read):
    recording = read("time_s, a\n0, +1.5\n1 , -2\n", columns=["a"], time="time_s")

    assert_array_equal(recording.columns(recording.channels)[:, 0], [1.5, -2])


def test_comments_above_and_units_under_the_header_are_understood(read):
    recording = read("# made up\n\ntime_s,a,b\ns,m/s^2,°/s\n0,1,2\n1,3,4\n", time="time_s")

    assert recording.units == ("m/s^2", "°/s")
    assert_array_equal(recording.values, [[1, 2], [3, 4]])
    assert "row under the header" in recording.notes[0]


@pytest.mark.parametrize("columns", [["a"], None])
def test_lines_of_text_above_the_header_are_passed_over_and_told(read, columns):
    text = "Logger 7;invented\nStart;10:00\n\ntime_s;a;b\ns;g;g\n0;1,5;x1\n1;2,5;x2\n"

    recording = read(text, columns=columns, time="time_s")

    assert_array_equal(recording.columns(["a"])[:, 0], [1.5, 2.5])
    assert recording.units == ("g",)
    assert "2 line(s) of text above the column names passed over" in recording.notes[0]


def test_only_declared_columns_are_looked_at(read):
    recording = read("time_s,a,note\n0,1,start\n1,2,\n", columns=["a"], time="time_s")

    assert recording.channels == ("a",)


def test_without_times_a_rate_gives_them(read):
    recording = read("a\n1\n\n3\n", rate_hz=4.0)

    assert_array_equal(recording.time_s, [0, 0.25, 0.5])
    assert_array_equal(
        recording.columns(recording.channels)[:, 0], [1, np.nan, 3]
    )  # a blank line is an empty cell


def test_a_counter_and_a_rate_give_times_from_zero(read):
    recording = read("frame,a\n1001,1\n1002,2\n1004,3\n", time="frame", rate_hz=100.0)

    assert_array_equal(recording.time_s, [0, 0.01, 0.03])


def test_a_row_stored_twice_is_left_out_and_told(read):
    recording = read("t,a,b\n0,1,\n0,1,\n1,2,3\n", time="t")

    assert_array_equal(recording.time_s, [0, 1])
    assert recording.notes == ("walk.csv: 1 row(s) stored twice left out, the first at row 3",)


def test_empty_rows_at_the_end_are_left_out_and_told(read):
    recording = read("t,a\n0,1\n1,2\n,\n,\n", time="t")

    assert recording.time_s.size == 2
    assert recording.notes == ("walk.csv: 2 empty row(s) at the end left out",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "walk.csv: is empty"),
        ("\n\n", "walk.csv: is empty"),
        ("t,b,sha_x\n0,1,2\n", "has no column 'shank_x'; it holds 'sha_x', 't' and 'b'"),
        ("t,shank_x\n0,1\n1,x\n", "row 3, column 'shank_x': is 'x'; accepted: a number"),
        ("t,shank_x\n0,1\n\n1,1_0\n", "row 4, column 'shank_x': is '1_0'"),
        ("t,shank_x\n0,1\n2,1\n1,1\n", "row 4, column 't': time goes back from 2 to 1"),
        ("t,shank_x\n0,1\n2,1\n2,3\n", "row 4, column 't': the time 2 is the same"),
        ("t,shank_x\n0,1\n,1\n2,3\n", "row 3, column 't': holds no time"),
        ("t,shank_x\n0,1\n1,inf\n", "row 3, column 'shank_x': is infinite"),
        ("t,shank_x\n0,1\n1\n", "row 3: has 1 cell(s) where the header has 2"),
        ("t,shank_x\n0,1\n", "holds 1 sample(s)"),
        ("t,shank_x\n", "holds 0 sample(s)"),
        ("0,1\n1,1\n", "row 1: holds numbers where the column names should be"),
        ("t,shank_x,shank_x\n0,1,1\n1,1,1\n", "has 2 columns named 'shank_x'"),
        (b"t,shank_x\xb0\n0,1\n", "byte 9 is not UTF-8"),
        ("t,shank_x\n".encode("utf-16"), "is UTF-16"),
        (b"t,shank_x\n\0\0\0", "bytes that text does not have"),
    ],
)
def test_a_faulty_file_is_told_where(read, text, message):
    with pytest.raises(RecordingError) as caught:
        read(text, columns=["shank_x"], time="t")

    assert message in str(caught.value)
    assert str(caught.value).startswith("walk.csv")


@pytest.mark.parametrize(
    ("text", "row", "cut_off"),
    [
        ("t,shank_x,b\n0,1,1\n1,1,2\n2,0.", 4, True),
        ("t,shank_x,b\n0,1,1\n1,1,2\n2,0.1\n", 4, True),
        ("t,shank_x\n0,1\n1,1\n2,-", 4, True),  # within the last cell
        ("t,shank_x\n0,1\n1,1\n2,-\n", 4, False),
        ("t,shank_x,b\n0,1,1\n1,1\n2,1,1\n", 3, False),
        ("t,shank_x,b\n0,1,1\n1,1,1\nstopped by hand\n", 4, False),
    ],
)
def test_a_file_cut_off_while_it_was_written_is_told_so(read, text, row, cut_off):
    with pytest.raises(RecordingError) as caught:
        read(text, columns=["shank_x"], time="t")

    told = str(caught.value)
    assert told.startswith(f"walk.csv, row {row}")
    said = "the file seems to have been cut off while it was written or copied: copy it anew, or "
    assert (f"{said}delete that row and note that the recording ends there." in told) == cut_off
    assert ("the last" in told) == cut_off


def test_a_file_without_times_needs_a_rate(read):
    with pytest.raises(RecordingError, match="`time`, or give `rate_hz`"):
        read("a\n1\n2\n")


def test_missing_files_folders_and_unknown_types_are_refused(tmp_path):
    with pytest.raises(RecordingError, match="no such file"):
        read_recording(tmp_path / "none.csv")
    with pytest.raises(RecordingError, match="is a folder"):
        read_recording(tmp_path)
    (tmp_path / "walk.xyz").write_text("a")
    with pytest.raises(RecordingError, match=r"'\.xyz' cannot be read; accepted: .*\.csv"):
        read_recording(tmp_path / "walk.xyz")


def test_the_row_is_right_after_blank_lines_and_quoted_line_ends(read):
    text = 't,note,a\n0,"two\nlines",1\n\n1,x,1\n2,x,1\n0,x,1\n'

    with pytest.raises(RecordingError, match="row 7, column 't': time goes back"):
        read(text, columns=["a"], time="t")


def test_bytes_that_are_not_utf_8_spoil_only_their_cell(tmp_path):
    rows = [b"%d,1,ok" % k for k in range(60_000)]
    rows[50_000] = b"50000,1,\xff"
    (tmp_path / "walk.csv").write_bytes(b"t,a,note\n" + b"\n".join(rows) + b"\n")
    assert read_recording(tmp_path / "walk.csv", columns=["a"], time="t").time_s.size == 60_000

    rows[50_000] = b"50000,\xff,ok"
    (tmp_path / "walk.csv").write_bytes(b"t,a,note\n" + b"\n".join(rows) + b"\n")
    with pytest.raises(RecordingError, match="row 50002, column 'a'"):
        read_recording(tmp_path / "walk.csv", columns=["a"], time="t")

    rows[50_000] = b"49998,1,\xff"
    (tmp_path / "walk.csv").write_bytes(b"t,a,note\n" + b"\n".join(rows) + b"\n")
    with pytest.raises(RecordingError, match="row 50002, column 't': time goes back"):
        read_recording(tmp_path / "walk.csv", columns=["a"], time="t")


def test_byte_mutations_end_in_a_recording_or_a_message(tmp_path):
    rng = np.random.default_rng(11)
    clean = b"time_s;a;b\ns;m/s^2;-\n" + b"".join(b"%d,5;%d,25;x\n" % (k, k) for k in range(40))
    path = tmp_path / "mutant.csv"
    messages = []
    for _ in range(300):
        mutant = bytearray(clean)
        for at in rng.integers(0, len(mutant), rng.integers(1, 6)):
            mutant[at] = rng.integers(0, 256)
        path.write_bytes(bytes(mutant[: rng.integers(1, len(mutant) + 1)]))
        try:
            recording = read_recording(path, columns=["a"], time="time_s")
        except TwinangleError as error:
            messages.append(str(error))
        else:
            assert (np.diff(recording.time_s) > 0).all()
    assert len(messages) > 30
    assert all("mutant.csv" in message for message in messages)


def test_a_description_holds_channels_rate_duration_gaps_and_first_rows(tmp_path):
    path = tmp_path / "walk.csv"
    rows = [f"{k / 100},{k},{k % 3 or ''},x" for k in range(200) if not 50 <= k < 80]
    path.write_text("time_s,a,b,note\n" + "\n".join(rows) + "\n")

    found = describe_file(path)

    assert found.time == "time_s"
    assert found.rate_hz == pytest.approx(100)
    assert found.duration_s == pytest.approx(1.99)
    assert found.gaps_s == ((0.49, pytest.approx(0.31)),)
    assert [channel.name for channel in found.channels] == ["time_s", "a", "b"]
    assert found.channels[2].n_missing == sum(1 for row in rows if ",,x" in row)
    assert len(found.first_rows) == 3
    assert "100 Hz" in str(found)


def test_event_times_are_read_and_checked(tmp_path):
    path = tmp_path / "events.csv"
    path.write_text("time_s\n1.5\n2.25\n")
    assert_array_equal(read_event_times(path), [1.5, 2.25])

    path.write_text("time_s\n1.5\n1.5\n")
    with pytest.raises(RecordingError, match="row 3"):
        read_event_times(path)


def test_two_real_sensors_on_a_counter_at_100_hz():
    # PROVENANCE.md of the folder: 100 Hz, 6671 samples, rows 0 and 1 repeat one counter value.
    if not (DATA / "knee-jump-left").is_dir():
        pytest.skip("../shared/data/knee-jump-left is absent")
    path = DATA / "knee-jump-left" / "left_segment_a_imu.csv"

    recording = read_recording(path, time="counter", rate_hz=100.0, source="walk.csv")

    assert recording.time_s.size == 6670
    assert recording.notes == ("walk.csv: 1 row(s) stored twice left out, the first at row 3",)
    assert recording.time_s[-1] == pytest.approx(66.69)


def test_real_goniometer_files_hold_what_their_summary_says():
    # summary.csv of the folder was made from the files by an independent script.
    if not (DATA / "goniometer-gait-22").is_dir():
        pytest.skip("../shared/data/goniometer-gait-22 is absent")
    summary = pd.read_csv(DATA / "goniometer-gait-22" / "summary.csv")
    assert len(summary) == 22

    for row in summary.itertuples():
        recording = read_recording(DATA / "goniometer-gait-22" / row.file, rate_hz=1000.0)
        assert recording.time_s.size == row.samples
        assert np.nanmin(recording.values) == row.min_deg
        assert np.nanmax(recording.values) == row.max_deg
