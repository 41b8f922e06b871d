"""MATLAB 7.3: HDF5 written by h5py with the header, classes and order that MATLAB gives it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.io import savemat

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, mat73, read_recording
from twinangle.formats.mat5 import read_arrays as read_v5

MOST = 1 << 28  # bytes, as for any small file

h5py = pytest.importorskip("h5py", reason="the library h5py is absent")

RNG = np.random.default_rng(8)
TIME = np.arange(200) / 64
ACC = RNG.normal(size=(200, 3))
CLASSES = {"f8": "double", "f4": "single", "i2": "int16", "u1": "uint8", "i8": "int64"}


def put(group, name: str, values, *, matlab_class=None, **asked) -> None:
    """Write an array as MATLAB does: transposed, its class beside it."""
    values = np.asarray(values)
    data = group.create_dataset(name, data=np.atleast_2d(values).T, **asked)
    found = matlab_class or CLASSES[values.dtype.str[1:]]
    data.attrs["MATLAB_class"] = np.bytes_(found)


def put_struct(group, name: str):
    struct = group.create_group(name)
    struct.attrs["MATLAB_class"] = np.bytes_("struct")
    return struct


def finish(path: Path) -> Path:
    """Write the 128 bytes that MATLAB puts before the HDF5 part (its published header)."""
    text = "MATLAB 7.3 MAT-file, Platform: none, Created on: Mon Jan  1 00:00:00 2001"
    head = f"{text} HDF5 schema 1.00 .".ljust(116).encode("ascii") + bytes(8) + b"\0\2IM"
    data = path.read_bytes()
    path.write_bytes(head + data[128:])
    return path


def write(path: Path, **asked) -> Path:
    with h5py.File(path, "w", userblock_size=512) as file:
        put(file, "acc", ACC, **asked)
        put(file, "t", TIME[:, None], **asked)
        left = put_struct(file, "left")
        put(put_struct(left, "shank"), "gyr", np.float32(ACC), **asked)
        put(file, "fs", 64.0)
    return finish(path)


@pytest.mark.parametrize(
    "asked", [{}, {"chunks": True, "compression": "gzip", "shuffle": True}], ids=["plain", "gzip"]
)
def test_arrays_and_structs_are_channels_to_the_last_bit(tmp_path, asked):
    path = write(tmp_path / "walk.mat", **asked)

    recording = read_recording(path, time="t")

    assert recording.channels == tuple(
        f"{name}_{k}" for name in ("acc", "left.shank.gyr") for k in (1, 2, 3)
    )
    assert_array_equal(recording.time_s, TIME)
    assert_array_equal(recording.values, np.hstack([ACC, np.float32(ACC)]))


def test_the_same_variables_have_the_same_names_in_either_version(tmp_path):
    content = {"acc": ACC, "t": TIME[:, None], "left": {"shank": {"gyr": ACC}}, "label": "invented"}
    savemat(tmp_path / "five.mat", content)
    with h5py.File(tmp_path / "seven.mat", "w", userblock_size=512) as file:
        put(file, "acc", ACC)
        put(file, "t", TIME[:, None])
        put(put_struct(put_struct(file, "left"), "shank"), "gyr", ACC)
        put(file, "label", np.frombuffer(b"invented", "u1").astype("u2"), matlab_class="char")
    finish(tmp_path / "seven.mat")

    five, seven = (read_recording(tmp_path / f"{name}.mat", time="t") for name in ("five", "seven"))

    assert sorted(five.channels) == sorted(seven.channels)
    assert_array_equal(five.columns(seven.channels), seven.values)
    assert set(read_v5((tmp_path / "five.mat").read_bytes(), MOST)) == set(
        mat73.read_arrays(tmp_path / "seven.mat", MOST).arrays
    )


@pytest.mark.parametrize("kind", sorted(CLASSES))
def test_every_class_of_number_is_read(tmp_path, kind):
    values = (100 * RNG.random((7, 4))).astype(kind)
    with h5py.File(tmp_path / "walk.mat", "w", userblock_size=512) as file:
        put(file, "a", values)

    assert_array_equal(mat73.read_arrays(finish(tmp_path / "walk.mat"), MOST).arrays["a"], values)


def test_what_is_no_real_array_is_left_out(tmp_path):
    with h5py.File(tmp_path / "walk.mat", "w", userblock_size=512) as file:
        put(file, "a", ACC)
        put(file, "text", np.frombuffer(b"Planted_Person", "u1").astype("u2"), matlab_class="char")
        put(file, "cube", np.zeros((2, 3, 4)))
        file["complex"] = np.zeros((3, 1), [("real", "f8"), ("imag", "f8")])
        file["empty"] = np.array([0, 0], "u8")
        file["empty"].attrs["MATLAB_empty"] = np.uint8(1)
        cell = file.create_dataset("cell", (1, 1), h5py.ref_dtype)
        cell[0, 0] = file["a"].ref
        put(file.create_group("#refs#"), "a", ACC)
        sparse = file.create_group("sparse")
        sparse.attrs["MATLAB_sparse"] = np.uint64(3)
        put(sparse, "data", ACC[:, :1])
        file["elsewhere"] = h5py.ExternalLink("other.mat", "/a")
        file["loop"] = h5py.SoftLink("/")

    assert set(mat73.read_arrays(finish(tmp_path / "walk.mat"), MOST).arrays) == {"a"}


def test_a_claim_of_a_billion_samples_is_refused(tmp_path):
    with h5py.File(tmp_path / "walk.mat", "w", userblock_size=512) as file:
        file.create_dataset("a", (1, 10**9), "f8", chunks=(1, 1000), compression="gzip")

    message = r"walk\.mat: is not a readable MATLAB file: its array 'a' of the shape"
    with pytest.raises(RecordingError, match=message):
        read_recording(finish(tmp_path / "walk.mat"), rate_hz=64.0)


def test_structs_that_hold_themselves_are_refused(tmp_path):
    with h5py.File(tmp_path / "walk.mat", "w", userblock_size=512) as file:
        put(file, "a", ACC)
        struct = put_struct(file, "s")
        struct["again"] = struct

    with pytest.raises(RecordingError, match="it has more than 10000 variables or 20 levels"):
        read_recording(finish(tmp_path / "walk.mat"), rate_hz=64.0)


def test_a_header_with_nothing_behind_it_is_told(tmp_path):
    (tmp_path / "walk.mat").write_bytes(
        b"MATLAB 7.3 MAT-file, Platform".ljust(512) + b"\x89HDF\r\n"
    )

    with pytest.raises(RecordingError, match=r"walk\.mat: is not a readable MATLAB file"):
        read_recording(tmp_path / "walk.mat")


def test_a_child_that_fails_or_never_ends_is_told(tmp_path, monkeypatch):
    path = write(tmp_path / "walk.mat")
    crash = tmp_path / "crash.py"
    crash.write_text("import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)\n")
    monkeypatch.setattr(mat73, "CHILD", crash)

    with pytest.raises(RecordingError, match=r"walk\.mat: .*HDF5 library failed on it"):
        read_recording(path, time="t")

    sleeper = tmp_path / "sleeper.py"
    sleeper.write_text("import time\ntime.sleep(60)\n")
    monkeypatch.setattr(mat73, "CHILD", sleeper)
    monkeypatch.setattr(mat73, "LONGEST_S", 0.2)
    with pytest.raises(RecordingError, match=r"walk\.mat: .*took more than"):
        read_recording(path, time="t")


def test_a_description_lists_the_channels(tmp_path):
    found = describe_file(write(tmp_path / "walk.mat"))

    assert found.format == "MATLAB"
    assert (found.time, found.rate_hz) == ("t", pytest.approx(64))


def test_a_table_among_the_arrays_is_told_with_the_way_out(tmp_path):
    with h5py.File(tmp_path / "walk.mat", "w", userblock_size=512) as file:
        put(file, "knee", ACC[:, :1])
        put(file, "T", np.zeros((1, 6)), matlab_class="table")
        file["T"].attrs["MATLAB_object_decode"] = np.int32(3)
    described = describe_file(finish(tmp_path / "walk.mat"))
    assert [channel.name for channel in described.channels] == ["knee"]
    (note,) = described.notes
    assert "'T' is a MATLAB table" in note
    assert "writetable(T, 'T.csv')" in note
