"""A file read stretch by stretch holds what it holds when it is read whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.errors import RecordingError
from twinangle.formats import read_recording, read_stretches
from twinangle.formats.columnar import read_parquet_parts
from twinangle.formats.request import Request

RATE_HZ = 100.0


def written(path: Path, n_rows: int = 5_000, *, start_s: float = 3.0) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    frame = pd.DataFrame(
        {
            "time_s": np.round(start_s + np.arange(n_rows) / RATE_HZ, 4),
            "a": rng.normal(size=n_rows).round(6),
            "b": rng.normal(size=n_rows).round(6),
        }
    )
    frame.loc[rng.integers(0, n_rows, 20), "b"] = np.nan
    save(frame, path)
    return frame


def save(frame: pd.DataFrame, path: Path) -> None:
    if path.suffix == ".csv":
        frame.to_csv(path, index=False)
    else:
        frame.to_parquet(path, row_group_size=700)


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
@pytest.mark.parametrize("time", ["time_s", None])
def test_cores_together_are_the_whole(tmp_path, suffix, time):
    path = tmp_path / f"long{suffix}"
    written(path)
    how = {"columns": ["b", "a"], "time": time, "rate_hz": None if time else RATE_HZ}
    whole = read_recording(path, **how)
    parts = list(read_stretches(path, seconds=7.0, overlap_s=2.0, first_s=11.0, **how))
    assert [part.number for part in parts] == list(range(len(parts)))
    rows = []
    for part in parts:
        at = part.recording.time_s
        inside = (at >= part.core.start_s) & (at < part.core.end_s)
        rows.append(np.column_stack((at, part.recording.columns(["b", "a"])))[inside])
        if part.core.start_s > -np.inf:
            assert at[0] == pytest.approx(part.core.start_s - 2.0, abs=1e-9)
        if part.core.end_s < np.inf:
            assert at[-1] <= part.core.end_s + 2.0
    expected = np.column_stack((whole.time_s, whole.columns(["b", "a"])))
    found = np.vstack(rows)
    np.testing.assert_array_equal(found[:, 1:], expected[:, 1:])
    # counted times are row over rate, here and there: the same but for rounding
    np.testing.assert_allclose(found[:, 0], expected[:, 0], rtol=0, atol=1e-9)
    assert parts[0].core.end_s == pytest.approx(whole.time_s[0] + 11.0)


@given(seconds=st.floats(5.0, 60.0), overlap_s=st.floats(0.0, 4.0), first_s=st.floats(5.0, 70.0))
def test_every_sample_is_in_one_core(tmp_path_factory, seconds, overlap_s, first_s):
    path = tmp_path_factory.getbasetemp() / "law.parquet"
    if not path.exists():
        written(path)
    parts = read_stretches(
        path, columns=["a"], time="time_s", seconds=seconds, overlap_s=overlap_s, first_s=first_s
    )
    counted, end = 0, -np.inf
    for part in parts:
        assert part.core.start_s == end
        end = part.core.end_s
        at = part.recording.time_s
        counted += int(((at >= part.core.start_s) & (at < end)).sum())
    assert counted == 5_000
    assert end == np.inf


def test_a_stretch_without_samples_is_left_out_and_keeps_its_number(tmp_path):
    path = tmp_path / "pause.csv"
    frame = written(path)
    save(frame[(frame["time_s"] < 10.0) | (frame["time_s"] > 40.0)], path)
    parts = list(read_stretches(path, columns=["a"], time="time_s", seconds=5.0, overlap_s=0.0))
    numbers = [part.number for part in parts]
    assert numbers[:2] == [0, 1]
    assert 3 not in numbers
    assert numbers == sorted(numbers)


def test_a_clock_that_goes_back_is_refused_with_its_row(tmp_path):
    path = tmp_path / "back.parquet"
    frame = pd.concat([written(path, 66_000), written(path, 200)])
    frame.to_parquet(path)
    with pytest.raises(RecordingError, match="time goes back"):
        list(read_stretches(path, columns=["a"], time="time_s", seconds=60.0, overlap_s=1.0))


def test_a_text_among_the_numbers_is_refused_with_its_place(tmp_path):
    path = tmp_path / "text.csv"
    written(path)
    with path.open("a") as stream:
        stream.write("53.0,broken,1\n")
    with pytest.raises(RecordingError, match=r"text\.csv.*broken"):
        list(read_stretches(path, columns=["a"], time="time_s", seconds=5.0, overlap_s=1.0))


def test_a_counter_of_samples_and_other_formats_are_refused(tmp_path):
    path = tmp_path / "long.csv"
    frame = written(path)
    with pytest.raises(RecordingError, match="counts samples"):
        list(
            read_stretches(
                path, columns=["a"], time="time_s", rate_hz=100.0, seconds=5.0, overlap_s=1.0
            )
        )
    other = tmp_path / "long.feather"
    frame.to_feather(other)
    with pytest.raises(RecordingError, match=r"Feather can only be read whole.*Parquet"):
        list(read_stretches(other, columns=["a"], time="time_s", seconds=5.0, overlap_s=1.0))


@pytest.mark.parametrize("rows_a_group", [1_000_000, 10_000], ids=["one group", "many groups"])
def test_parquet_is_not_held_beyond_the_part_that_is_read(tmp_path, rows_a_group):
    path = tmp_path / "long.parquet"
    values = np.random.default_rng(1).normal(size=(1_000_000, 2))
    whole = pa.table({"t": values[:, 0], "a": values[:, 1]})
    pq.write_table(whole, path, row_group_size=rows_a_group)
    before = pa.default_memory_pool().bytes_allocated()
    held = [
        pa.default_memory_pool().bytes_allocated() - before
        for _ in read_parquet_parts(path, Request(None, "t", None, {}, "long"), 65_536)
    ]
    assert len(held) >= 14
    assert max(held) < whole.nbytes / 2
    assert held[-1] < 1.5 * held[0]
