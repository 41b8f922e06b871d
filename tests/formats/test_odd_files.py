"""Files that claim, unpack or nest more than is sensible: one message with the limit, no more."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from pyarrow import feather, parquet
from scipy.io import savemat

from twinangle.errors import RecordingError, StudyError
from twinangle.formats import base, describe_file, read_recording
from twinangle.study import read_study


@pytest.fixture
def small_limit(monkeypatch):
    """Have the smallest files come to 1 MiB at most, so that bombs of 2 MiB will do."""
    monkeypatch.setattr(base, "UNPACKED_BYTES", 1 << 20)


def bomb_of(path):
    frame = pd.DataFrame({"time_s": np.zeros(150_000), "a": np.zeros(150_000)})
    if path.suffix == ".parquet":
        frame.to_parquet(path, compression="zstd")
    elif path.suffix == ".feather":
        feather.write_feather(frame, path, compression="zstd", chunksize=10_000)
    else:
        savemat(path, {"a": frame["a"].to_numpy()[:, None]}, do_compression=True)


@pytest.mark.parametrize("name", ["walk.parquet", "walk.feather", "walk.mat"])
def test_a_file_that_unpacks_beyond_the_limit_is_refused(tmp_path, small_limit, name):
    bomb_of(tmp_path / name)
    assert 100 * (tmp_path / name).stat().st_size < 1_200_000
    with pytest.raises(RecordingError, match=rf"{name}: is not a readable .* unpack to .*accepted"):
        read_recording(tmp_path / name, columns=["a"], rate_hz=100)
    with pytest.raises(RecordingError, match=rf"{name}: is not a readable"):
        describe_file(tmp_path / name)


def test_noise_packs_so_little_that_no_recording_comes_near_the_limit(tmp_path, monkeypatch):
    monkeypatch.setattr(base, "UNPACKED_BYTES", 0)
    noise = np.random.default_rng(1).normal(size=5000).round(2)
    pd.DataFrame({"a": noise}).to_parquet(tmp_path / "walk.parquet", compression="zstd")
    feather.write_feather(pd.DataFrame({"a": noise}), tmp_path / "walk.feather")
    savemat(tmp_path / "walk.mat", {"a": noise[:, None]}, do_compression=True)
    for suffix in ("parquet", "feather", "mat"):
        found = read_recording(tmp_path / f"walk.{suffix}", columns=["a"], rate_hz=100)
        np.testing.assert_array_equal(found.columns(["a"])[:, 0], noise)


def test_two_hundred_million_rows_in_a_small_parquet_file_are_refused(tmp_path):
    rows = pa.table({"a": pa.array(np.zeros(10**6))})
    with parquet.ParquetWriter(tmp_path / "walk.parquet", rows.schema) as writer:
        for _ in range(40):
            writer.write_table(rows)
    assert (tmp_path / "walk.parquet").stat().st_size < 10**6
    with pytest.raises(RecordingError, match="claim to unpack to 320000000 bytes of numbers"):
        read_recording(tmp_path / "walk.parquet", columns=["a"], rate_hz=100)


@pytest.mark.parametrize("value", ["1e308", "-1e31", "inf"])
@pytest.mark.parametrize("column", ["time_s", "a"])
def test_absurd_values_are_named_with_their_place(tmp_path, value, column):
    cells = {"time_s": "0.02", "a": "2"} | {column: value}
    text = f"time_s,a\n0,1\n0.01,1\n{cells['time_s']},{cells['a']}\n0.03,1\n"
    (tmp_path / "walk.csv").write_text(text)
    with pytest.raises(RecordingError, match=rf"walk\.csv, (row|line) .*, column '{column}': is "):
        read_recording(tmp_path / "walk.csv", columns=["a"], time="time_s")


def test_an_edf_file_without_a_data_record_is_refused(tmp_path):
    edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
    signal = edfio.EdfSignal(np.zeros(100), 50, label="a", physical_range=(-8, 8))
    notes = [edfio.EdfAnnotation(0.2, None, "foot strike")]
    edfio.Edf([signal], annotations=notes, data_record_duration=1).write(tmp_path / "walk.edf")
    data = bytearray((tmp_path / "walk.edf").read_bytes())
    data[236:244] = b"0".ljust(8)
    (tmp_path / "walk.edf").write_bytes(bytes(data))
    for attempt in (describe_file, lambda path: read_recording(path, columns=["a"])):
        with pytest.raises(RecordingError, match=r"walk\.edf: .*claims 0 data records"):
            attempt(tmp_path / "walk.edf")


STUDY = """\
[study]
title = "Ridge path study"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angles = { a = "a" }
[agreement]
confidence = 0.95
"""


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (f"x = {'[' * 5000}{']' * 5000}", "more than 20 deep"),
        (f"{'.'.join('a' * 4_000)} = 1", "more than 20 deep"),
        (f"[{'.'.join('a' * 4_000)}]", "more than 20 deep"),
        (".".join(['"a b"'] * 4_000) + " = 1", "more than 20 deep"),
        (f"x = {{ {'.'.join('a' * 4_000)} = 1 }}", "more than 20 deep"),
        (f"{'.'.join('a' * 30)} = 1", "more than 20 deep"),
        (f"x = {'[' * 30}{']' * 30}", "more than 20 deep"),
        ("x = 1e308", r"`x` holds a number beyond ±1e\+30"),
        (f"x = {'9' * 5000}", "holds a number"),
        ("#" * (1 << 20), "has .* bytes; a study file has 1048576 at most"),
    ],
)
def test_an_odd_study_file_is_refused_in_one_line(tmp_path, text, message):
    (tmp_path / "study.toml").write_text(f"{text}\n{STUDY}")
    with pytest.raises(StudyError, match=message) as refused:
        read_study(tmp_path)
    assert "study.toml" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_long_word_in_a_text_of_several_lines_takes_no_time(tmp_path):
    """Once the place of each key took time that doubled with every letter of such a word."""
    text = STUDY.replace('"Ridge path study"', f'"""\n{"a" * 2000}!\n"""')
    (tmp_path / "study.toml").write_text(text.replace("confidence", "confidense"))
    (tmp_path / "trials.csv").write_text("participant,wearable\nP01,a.csv\n")
    (tmp_path / "a.csv").write_text("time_s,a\n")
    with pytest.raises(StudyError, match=r"line 12: .*`confidense`"):
        read_study(tmp_path)


@pytest.mark.parametrize("column", ["start_s", "static_start_s"])
def test_absurd_numbers_in_the_trials_table_are_refused(tmp_path, column):
    (tmp_path / "study.toml").write_text(STUDY)
    (tmp_path / "a.csv").write_text("time_s,a\n")
    (tmp_path / "trials.csv").write_text(f"participant,wearable,{column}\nP01,a.csv,1e308\n")
    with pytest.raises(StudyError, match=re.escape("1e308")):
        read_study(tmp_path)
