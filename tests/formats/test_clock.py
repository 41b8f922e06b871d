"""Faults of a file's clock: mended where certain, refused with their row otherwise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from twinangle.errors import RecordingError
from twinangle.formats import read_recording


def write(path: Path, stamps) -> Path:
    rows = [f"{stamp:.6f},{k},{-k}" for k, stamp in enumerate(stamps)]
    path.write_text("t,a,b\n" + "\n".join(rows) + "\n")
    return path


@pytest.mark.parametrize("bits", [8, 16, 32])
def test_a_counter_that_wraps_is_continued(tmp_path, bits):
    counter = np.delete((2**bits - 300 + np.arange(1000)) % 2**bits, [310, 500])
    path = write(tmp_path / "walk.csv", counter)

    recording = read_recording(path, time="t", rate_hz=200.0, source="walk.csv")

    assert_allclose(recording.time_s, np.delete(np.arange(1000), [310, 500]) / 200, atol=1e-9)
    assert "starts again from zero" in recording.notes[0]


@given(
    span=st.sampled_from([60.0, 65.536, 3600.0, 86400.0]),
    start=st.floats(0.01, 0.99),
    rate_hz=st.sampled_from([50.0, 100.0, 128.0]),
)
@settings(max_examples=20, deadline=None)
def test_a_clock_that_passes_its_end_is_continued(tmp_path_factory, span, start, rate_hz):
    # Midnight for a time of day, the full minute or hour, the end of 16-bit milliseconds.
    true = span - 3 * start + np.arange(800) / rate_hz
    path = write(tmp_path_factory.mktemp("c") / "walk.csv", true % span)

    recording = read_recording(path, time="t")

    assert_allclose(np.diff(recording.time_s), 1 / rate_hz, atol=2e-6)


def test_a_clock_set_back_inside_a_file_is_refused_with_its_row(tmp_path):
    stamps = np.concatenate([np.arange(100) / 100, 0.4 + np.arange(100) / 100])

    with pytest.raises(RecordingError, match=r"row 102, column 't': time goes back from 0\.99 to "):
        read_recording(write(tmp_path / "walk.csv", stamps), time="t")
    with pytest.raises(RecordingError, match=r"set back there.*split the recording"):
        read_recording(write(tmp_path / "walk.csv", stamps), time="t")


def test_a_single_row_out_of_order_is_told_as_such(tmp_path):
    stamps = np.arange(100) / 100
    stamps[50] = 0.2

    with pytest.raises(RecordingError, match=r"row 52, .* this row alone is out of order"):
        read_recording(write(tmp_path / "walk.csv", stamps), time="t")


def test_a_restart_from_zero_that_is_no_wrap_is_refused(tmp_path):
    counter = np.concatenate([np.arange(5000, 5400), np.arange(300)])

    with pytest.raises(RecordingError, match="time goes back from 5399 to 0"):
        read_recording(write(tmp_path / "walk.csv", counter), time="t", rate_hz=100.0)


def test_a_column_of_times_beside_a_rate_is_no_counter(tmp_path):
    """Times in seconds once became samples of 10 kHz, and the clock's message a lag of nan."""
    path = write(tmp_path / "walk.csv", np.arange(200) / 100)
    with pytest.raises(RecordingError) as caught:
        read_recording(path, time="t", rate_hz=50.0, source="walk.csv")
    said = str(caught.value)
    assert "walk.csv: the column 't' steps by 0.01" in said
    assert "Leave `rate_hz` out" in said
