"""Times in milliseconds: read where it is said, refused where they would be taken for seconds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, read_recording
from twinangle.init import suggest_section

TIMES = np.arange(300) / 100


def write(path, name="time", factor=1e3, unit=None):
    frame = pd.DataFrame({name: (TIMES * factor).round(6), "knee_deg": TIMES + 20})
    text = frame.to_csv(index=False)
    if unit:
        head, rest = text.split("\n", 1)
        text = f"{head}\n{unit},deg\n{rest}"
    path.write_text(text)
    return path


@pytest.mark.parametrize(("stated", "factor"), [("ms", 1e3), ("us", 1e6), ("s", 1)])
def test_a_stated_unit_is_read(tmp_path, stated, factor):
    path = write(tmp_path / "a.csv", factor=factor)
    recording = read_recording(path, columns=["knee_deg"], time="time", time_unit=stated)
    assert_allclose(recording.time_s, TIMES, atol=1e-9)


@pytest.mark.parametrize(("unit", "factor"), [("ms", 1e3), ("[ms]", 1e3), ("µs", 1e6), ("s", 1)])
def test_a_unit_that_the_file_declares_is_read_and_told(tmp_path, unit, factor):
    path = write(tmp_path / "a.csv", factor=factor, unit=unit)
    recording = read_recording(path, columns=["knee_deg"], time="time")
    assert_allclose(recording.time_s, TIMES, atol=1e-9)
    assert describe_file(path).rate_hz == pytest.approx(100)
    assert describe_file(path).duration_s == pytest.approx(2.99)


def test_a_unit_stated_against_the_file_is_refused(tmp_path):
    path = write(tmp_path / "a.csv", unit="ms")
    with pytest.raises(RecordingError, match=r"'time' is declared in 'ms'.*`time_unit` is 's'"):
        read_recording(path, columns=["knee_deg"], time="time", time_unit="s")


@pytest.mark.parametrize("name", ["time_ms", "Time (ms)", "t [ms]", "timestamp_us"])
def test_a_name_that_says_so_asks_for_the_unit(tmp_path, name):
    unit = "us" if "us" in name else "ms"
    path = write(tmp_path / "a.csv", name=name, factor=1e6 if unit == "us" else 1e3)
    with pytest.raises(RecordingError) as caught:
        read_recording(path, columns=["knee_deg"], time=name)
    assert f'`time_unit = "{unit}"`' in str(caught.value)
    described = describe_file(path)
    assert described.time == name
    assert described.rate_hz == pytest.approx(100)
    section = suggest_section(described)
    assert f'time_unit = "{unit}"' in section


def test_a_message_shows_times_as_they_stand_in_the_file(tmp_path):
    path = write(tmp_path / "a.csv")
    lines = path.read_text().splitlines()
    lines[10] = lines[10].replace("90.0", "80.0", 1)
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordingError, match=r"the time 80 is the same"):
        read_recording(path, columns=["knee_deg"], time="time", time_unit="ms")


def test_a_description_points_at_rates_that_no_movement_is_recorded_at(tmp_path):
    described = describe_file(write(tmp_path / "a.csv"))
    assert any("0.1 Hz" in note and 'time_unit = "ms"' in note for note in described.notes)
    section = suggest_section(described)
    assert 'time_unit = "?"' in section


def test_no_value_is_as_large_as_1e308(tmp_path):
    path = tmp_path / "a.csv"
    frame = pd.DataFrame({"time_s": TIMES, "knee_deg": TIMES + 20})
    frame.loc[6, "knee_deg"] = 1e308
    frame.to_csv(path, index=False)
    described = describe_file(path)
    assert described.channels[1].maximum < 30
    assert any("row 8" in note and "1e+308" in note for note in described.notes)
    with pytest.raises(RecordingError, match=r"row 8, column 'knee_deg'"):
        read_recording(path, columns=["knee_deg"], time="time_s")
