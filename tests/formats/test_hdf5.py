"""HDF5 tables: data sets, compound tables and pandas' own layout, written by h5py."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, read_recording
from twinangle.init import suggest_section

h5py = pytest.importorskip("h5py", reason="the library h5py is absent")

RNG = np.random.default_rng(16)
TIME = np.arange(150) / 50
NAMES = [f"{s}_{k}_{a}" for s in ("thigh", "shank") for k in ("acc", "gyr") for a in "xyz"]
VALUES = RNG.normal(size=(150, 12))


def write_channels(path):
    with h5py.File(path, "w") as file:
        file["time_s"] = TIME
        for name, values in zip(NAMES, VALUES.T, strict=True):
            file[name] = values
            file[name].attrs["units"] = "g" if "acc" in name else "deg/s"


def write_compound(path):
    table = np.zeros(150, dtype=[("time_s", "f8"), *((name, "f4") for name in NAMES), ("n", "S3")])
    table["time_s"] = TIME
    for name, values in zip(NAMES, VALUES.T, strict=True):
        table[name] = values
    with h5py.File(path, "w") as file:
        file.create_dataset("trial/walk", data=table, compression="gzip")


def write_frame(path):
    """Lay out a frame as pandas does in its fixed format (from its documentation)."""
    with h5py.File(path, "w") as file:
        group = file.create_group("df")
        group["axis0"] = np.array(["time_s", *NAMES], dtype="S")
        group["axis1"] = np.arange(150)
        group["block0_items"] = np.array(["time_s", *NAMES], dtype="S")
        group["block0_values"] = np.column_stack([TIME, VALUES])


def write_matrices(path):
    with h5py.File(path, "w") as file:
        file["time_s"] = TIME
        for at, name in enumerate(("thigh/acc", "thigh/gyr", "shank/acc", "shank/gyr")):
            file[name] = VALUES[:, 3 * at : 3 * at + 3]


WAYS = {
    write_channels: ("{}", NAMES),
    write_compound: ("trial.walk.{}", NAMES),
    write_frame: ("df.{}", NAMES),
    write_matrices: (
        "{}",
        [f"{s}.{k}_{n}" for s in ("thigh", "shank") for k in ("acc", "gyr") for n in (1, 2, 3)],
    ),
}


@pytest.mark.parametrize("ending", [".h5", ".hdf5"])
@pytest.mark.parametrize("write", WAYS)
def test_every_layout_is_read_described_and_recognised(tmp_path, write, ending):
    path = tmp_path / f"P01{ending}"
    write(path)
    pattern, names = WAYS[write]
    channels = [pattern.format(name) for name in names]

    described = describe_file(path)
    recording = read_recording(path, columns=channels, time=pattern.format("time_s"))
    section = tomllib.loads(suggest_section(described))["wearable"]

    assert described.format == "HDF5"
    assert described.rate_hz == pytest.approx(50)
    expected = np.float32(VALUES) if write is write_compound else VALUES
    assert_array_equal(recording.values, expected)
    assert section["distal"]["gyroscope"] == channels[9:12]
    assert section["time"] == pattern.format("time_s")


def test_units_beside_the_data_are_read(tmp_path):
    write_channels(tmp_path / "a.h5")
    recording = read_recording(tmp_path / "a.h5", columns=NAMES[2:4], time="time_s")
    assert recording.units == ("g", "deg/s")


def test_what_is_no_hdf5_is_told(tmp_path):
    (tmp_path / "a.h5").write_bytes(b"time_s,knee\n0,1\n" * 50)
    with pytest.raises(RecordingError, match=r"a\.h5: is not a readable HDF5 file"):
        describe_file(tmp_path / "a.h5")


def test_a_claim_of_a_billion_rows_is_refused(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        kind = np.dtype([("t", "f8"), ("a", "f8")])
        file.create_dataset("big", shape=(10**9,), dtype=kind, chunks=(1000,), compression="gzip")
    with pytest.raises(RecordingError, match="bytes of numbers"):
        describe_file(tmp_path / "a.h5")


def test_a_file_of_texts_alone_is_told(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["note"] = "invented"
    with pytest.raises(RecordingError, match="holds no numeric array"):
        describe_file(tmp_path / "a.h5")
