"""Other formats: written with independent libraries, read back to the last bit."""

from __future__ import annotations

import io
import json
import struct
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from pyarrow import feather, parquet
from scipy.io import savemat

from twinangle.errors import RecordingError, TwinangleError
from twinangle.formats import describe_file, read_recording
from twinangle.formats.mat5 import read_arrays

RNG = np.random.default_rng(21)
TIME = 2.0 + np.arange(200) / 64
ACC = RNG.normal(size=(200, 3))
ACC[20:25, 1] = np.nan
GYR = RNG.normal(size=(200, 2))
NAMES = ("acc_x", "acc_y", "acc_z", "gyr_x", "gyr_y")
VALUES = np.hstack([ACC, GYR])


def frame() -> pd.DataFrame:
    return pd.DataFrame(VALUES, columns=list(NAMES)).assign(time_s=TIME)


def write_parquet(folder: Path) -> Path:
    frame().to_parquet(folder / "walk.parquet")
    return folder / "walk.parquet"


def write_feather(folder: Path) -> Path:
    feather.write_feather(frame(), folder / "walk.feather")
    return folder / "walk.feather"


def write_csv(folder: Path) -> Path:
    frame().to_csv(folder / "walk.csv", index=False)
    return folder / "walk.csv"


def write_matlab(folder: Path, **asked) -> Path:
    content = {name: VALUES[:, [k]] for k, name in enumerate(NAMES)} | {"time_s": TIME}
    savemat(folder / "walk.mat", content, **asked)
    return folder / "walk.mat"


def write_bids(folder: Path, *, header=False, latency=True, rate=64) -> Path:
    """Write a small Motion-BIDS data set with pandas and json, as its specification says."""
    motion = folder / "sub-01" / "motion"
    motion.mkdir(parents=True, exist_ok=True)
    (folder / "dataset_description.json").write_text(json.dumps({"Name": "invented"}))
    stem = "sub-01_task-walk_tracksys-imu"
    table = frame()[[*NAMES, "time_s"]].assign(time_s=TIME - 2)
    kinds = ["ACCEL"] * 3 + ["GYRO"] * 2 + ["LATENCY"]
    if not latency:
        table, kinds = table[list(NAMES)], kinds[:-1]
    table.to_csv(motion / f"{stem}_motion.tsv", sep="\t", index=False, header=header, na_rep="n/a")
    pd.DataFrame(
        {
            "name": table.columns,
            "component": ["x", "y", "z", "x", "y", "n/a"][: len(kinds)],
            "type": kinds,
            "tracked_point": "left_shank",
            "units": (["m/s^2"] * 3 + ["rad/s"] * 2 + ["s"])[: len(kinds)],
        }
    ).to_csv(motion / f"{stem}_channels.tsv", sep="\t", index=False)
    # A sidecar at the root applies to every recording with its entities (inheritance).
    (folder / "task-walk_motion.json").write_text(json.dumps({"SamplingFrequency": rate}))
    pd.DataFrame(
        {
            "filename": [
                f"motion/{stem}_motion.tsv".replace("imu", "optical"),
                f"motion/{stem}_motion.tsv",
            ],
            "acq_time": ["2001-05-01T10:00:00", "2001-05-01T10:00:02"],
        }
    ).to_csv(folder / "sub-01" / "sub-01_scans.tsv", sep="\t", index=False)
    return motion / f"{stem}_motion.tsv"


@pytest.mark.parametrize(
    ("write", "own_clock"),
    [
        (write_csv, False),
        (write_parquet, False),
        (write_feather, False),
        (write_matlab, False),
        (write_bids, True),
    ],
)
def test_every_format_gives_the_same_recording(tmp_path, write, own_clock):
    path = write(tmp_path)

    recording = read_recording(path, columns=NAMES, time=None if own_clock else "time_s")

    assert recording.channels == NAMES
    assert_array_equal(recording.columns(NAMES), VALUES)
    assert_array_equal(recording.time_s, TIME)


def test_units_in_parquet_fields_are_read(tmp_path):
    field = pa.field("acc_x", pa.float32(), metadata={"unit": "m/s^2"})
    table = pa.table([pa.array([1.5, None, 2.5], pa.float32())], schema=pa.schema([field]))
    parquet.write_table(table, tmp_path / "walk.parquet")

    recording = read_recording(tmp_path / "walk.parquet", rate_hz=10.0)

    assert recording.units == ("m/s^2",)
    assert_array_equal(recording.columns(["acc_x"])[:, 0], [1.5, np.nan, 2.5])


def test_a_parquet_column_of_text_is_named(tmp_path):
    pd.DataFrame({"a": [1.0, 2.0], "b": ["x", "y"]}).to_parquet(tmp_path / "walk.parquet")

    assert read_recording(tmp_path / "walk.parquet", rate_hz=1.0).channels == ("a",)
    with pytest.raises(RecordingError, match=r"column 'b' holds .*string; accepted: numbers"):
        read_recording(tmp_path / "walk.parquet", columns=["b"], rate_hz=1.0)


def test_matlab_structs_and_matrices_become_channels(tmp_path):
    content = {"left": {"shank": {"acc": ACC}, "label": "invented"}, "fs": 64.0, "t": TIME}
    savemat(tmp_path / "walk.mat", content, do_compression=True)

    recording = read_recording(tmp_path / "walk.mat", time="t")

    assert recording.channels == ("left.shank.acc_1", "left.shank.acc_2", "left.shank.acc_3")
    assert_array_equal(recording.columns(recording.channels), ACC)


@given(
    compressed=st.booleans(),
    kind=st.sampled_from(["f8", "f4", "i4", "i2", "u1", "i8", "u4"]),
    shape=st.tuples(st.integers(1, 5), st.integers(2, 6)),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=40, deadline=None)
def test_matlab_arrays_are_read_as_the_reference_library_wrote_them(compressed, kind, shape, seed):
    values = (100 * np.random.default_rng(seed).random(shape)).astype(kind)
    stream = io.BytesIO()
    content = {"a": values, "s": {"b": values.T, "t": "text", "c": {"d": values[:1]}}}
    savemat(stream, content, do_compression=compressed)

    found = read_arrays(stream.getvalue(), 1 << 20)

    assert set(found) == {"a", "s.b", "s.c.d"}
    assert_array_equal(found["a"], values)
    assert_array_equal(found["s.b"], values.T)
    assert_array_equal(found["s.c.d"], values[:1])


def test_bids_units_rate_and_start_come_from_its_sidecars(tmp_path):
    recording = read_recording(write_bids(tmp_path, latency=False))

    assert recording.units == ("m/s^2",) * 3 + ("rad/s",) * 2
    assert_array_equal(recording.time_s, TIME)  # 2 s after the other system, 64 Hz
    assert "starts 2 s after the first recording" in recording.notes[0]


def test_a_bids_table_that_has_a_header_all_the_same_is_read(tmp_path):
    recording = read_recording(write_bids(tmp_path, header=True))

    assert_array_equal(recording.columns(NAMES), VALUES)


def test_bids_without_its_channel_list_is_refused(tmp_path):
    path = write_bids(tmp_path)
    path.with_name("sub-01_task-walk_tracksys-imu_channels.tsv").unlink()

    with pytest.raises(RecordingError, match=r"no `_channels\.tsv`"):
        read_recording(path)


@pytest.mark.parametrize("rate", [0, "fast", -1, True])
def test_a_bids_rate_that_is_none_is_refused(tmp_path, rate):
    with pytest.raises(RecordingError, match="`SamplingFrequency`"):
        read_recording(write_bids(tmp_path, rate=rate, latency=False))


def test_text_in_a_bids_column_is_told_with_its_row(tmp_path):
    path = write_bids(tmp_path)
    lines = path.read_text().split("\n")
    lines[4] = lines[4].replace(lines[4].split("\t")[0], "oops")
    path.write_text("\n".join(lines))

    with pytest.raises(RecordingError, match="row 5, column 'acc_x': is 'oops'"):
        read_recording(path)


@pytest.mark.parametrize("write", [write_parquet, write_feather, write_matlab, write_bids])
def test_a_description_names_the_format_and_the_channels(tmp_path, write):
    found = describe_file(write(tmp_path))

    assert found.format in ("Parquet", "Feather", "MATLAB", "Motion-BIDS")
    assert {channel.name for channel in found.channels} == {*NAMES, "time_s"}
    assert found.rate_hz == pytest.approx(64)


@pytest.mark.parametrize("write", [write_parquet, write_feather, write_matlab, write_bids])
def test_mutated_files_end_in_a_recording_or_a_message(tmp_path, write):
    rng = np.random.default_rng(31)
    path = write(tmp_path)
    clean = path.read_bytes()
    messages = []
    for _ in range(60):
        mutant = bytearray(clean)
        for at in rng.integers(0, len(mutant), rng.integers(1, 8)):
            mutant[at] = rng.integers(0, 256)
        cut = len(mutant) if rng.random() < 0.7 else int(rng.integers(1, len(mutant)))
        path.write_bytes(bytes(mutant[:cut]))
        try:
            read_recording(path, columns=["acc_x"], rate_hz=64.0)
        except TwinangleError as error:
            messages.append(str(error))
    assert messages
    assert all(path.name in message for message in messages)


def matlab_object(name: str, class_name: str) -> bytes:
    """Return an object as MATLAB 7 writes one (from memory), its content a number of the rest."""

    def element(kind: int, content: bytes) -> bytes:
        return struct.pack("<II", kind, len(content)) + content + bytes(-len(content) % 8)

    flags = element(6, struct.pack("<II", 17, 0))
    texts = b"".join(element(1, text.encode()) for text in (name, "MCOS", class_name))
    return element(14, flags + texts)


@pytest.mark.parametrize(
    ("kind", "writer"), [("table", "writetable(T"), ("timetable", "writetimet")]
)
def test_a_matlab_table_is_told_as_such_with_the_way_out(tmp_path, kind, writer):
    path = tmp_path / "walk.mat"
    savemat(path, {"knee": np.arange(50.0)[:, None], "t": np.arange(50.0)[:, None] / 50})
    clean = path.read_bytes()
    path.write_bytes(clean + matlab_object("T", kind))

    (note,) = describe_file(path).notes
    assert f"'T' is a MATLAB {kind}" in note
    assert writer in note
    with pytest.raises(RecordingError, match=f"has no column 'T.knee'.*'T' is a MATLAB {kind}"):
        read_recording(path, columns=["T.knee"], time="t")

    path.write_bytes(clean[:128] + matlab_object("T", kind))
    with pytest.raises(RecordingError, match=f"no numeric array.*'T' is a MATLAB {kind}.*table2st"):
        describe_file(path)


def test_a_matlab_object_that_is_cut_off_is_told(tmp_path):
    whole = matlab_object("T", "table")
    savemat(tmp_path / "clean.mat", {"knee": np.arange(50.0)[:, None]})
    clean = (tmp_path / "clean.mat").read_bytes()
    path = tmp_path / "walk.mat"
    for cut in range(1, len(whole)):
        path.write_bytes(clean + whole[:cut])
        with pytest.raises(RecordingError, match=r"walk\.mat"):
            describe_file(path)
