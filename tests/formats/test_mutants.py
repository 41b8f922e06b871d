"""Damaged files of every binary format end in a recording or in a message that names the file.

`benchmarks/fuzz_importers.py` does the same with 20,000 files and bounds of memory and time.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from twinangle.errors import TwinangleError
from twinangle.formats import describe_file, read_event_times, read_recording

edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")
h5py = pytest.importorskip("h5py", reason="the library h5py is absent")

VALUES = np.random.default_rng(6).normal(size=(3, 60)).round(4)
CHANNELS = ("acc_x", "acc_y", "acc_z")


def write_c3d(path: Path) -> None:
    content = ezc3d.c3d()
    for group, labels in (("POINT", ["foot"]), ("ANALOG", list(CHANNELS))):
        content["parameters"][group]["RATE"]["value"] = [50]
        content["parameters"][group]["LABELS"]["value"] = labels
    content["data"]["points"] = np.ones((4, 1, 60))
    content["data"]["analogs"] = VALUES[np.newaxis]
    content.add_event([0, 0.5], context="Left", label="initial contact")
    content.write(str(path))


def write_edf(path: Path) -> None:
    wide = path.suffix == ".bdf"
    signal = edfio.BdfSignal if wide else edfio.EdfSignal
    signals = [
        signal(values, 50, label=label, physical_range=(-8, 8))
        for label, values in zip(CHANNELS, VALUES, strict=True)
    ]
    notes = [edfio.EdfAnnotation(0.2, None, "foot strike")]
    whole = edfio.Bdf if wide else edfio.Edf
    whole(signals, annotations=notes, data_record_duration=0.2).write(path)


def write_broken_edf(path: Path) -> None:
    write_edf(path)
    data = path.read_bytes().replace(b"EDF+C", b"EDF+D")
    path.write_bytes(data.replace(b"+1\x14\x14", b"+5\x14\x14"))


def write_xlsx(path: Path) -> None:
    pd.DataFrame(VALUES.T, columns=list(CHANNELS)).to_excel(path, index=False)


def write_mat73(path: Path) -> None:
    with h5py.File(path, "w", userblock_size=512) as file:
        for label, values in zip(CHANNELS, VALUES, strict=True):
            data = file.create_dataset(label, data=values[np.newaxis], compression="gzip")
            data.attrs["MATLAB_class"] = np.bytes_("double")


def write_hdf5(path: Path) -> None:
    table = np.zeros(60, dtype=[(label, "f8") for label in CHANNELS])
    with h5py.File(path, "w") as file:
        file.create_dataset("table", data=table, compression="gzip")
        for label, values in zip(CHANNELS, VALUES, strict=True):
            file.create_dataset(label, data=values, chunks=True)


def try_all(path: Path) -> list[str]:
    """Read, describe and look for events; return the messages of what is refused."""
    messages = []
    own_clock = path.suffix in (".c3d", ".edf", ".bdf")
    for attempt in (
        lambda: read_recording(path, columns=["acc_x"], rate_hz=None if own_clock else 50.0),
        *((lambda: str(describe_file(path)),) if path.suffix not in (".mat", ".h5") else ()),
        *((lambda: read_event_times(path),) if own_clock else ()),
    ):
        try:
            attempt()
        except TwinangleError as error:
            messages.append(str(error))
    return messages


@pytest.mark.parametrize(
    ("name", "write", "count"),
    [
        ("walk.c3d", write_c3d, 160),
        ("walk.edf", write_edf, 120),
        ("breaks.edf", write_broken_edf, 100),
        ("walk.bdf", write_edf, 60),
        ("walk.xlsx", write_xlsx, 50),
        ("walk.mat", write_mat73, 10),
        ("walk.h5", write_hdf5, 6),
    ],
)
def test_mutants_end_in_a_recording_or_a_message(tmp_path, name, write, count):
    path = tmp_path / name
    write(path)
    clean = path.read_bytes()
    assert not try_all(path)
    rng = np.random.default_rng(17)
    filled = np.flatnonzero(np.frombuffer(clean, np.uint8))  # zeros say little
    messages = []
    for number in range(count):
        mutant = bytearray(clean)
        for at in rng.choice(filled, rng.integers(1, 6)):
            mutant[at] = rng.integers(0, 256)
        cut = int(rng.integers(1, len(mutant))) if number % 5 == 4 else len(mutant)
        path.write_bytes(bytes(mutant[:cut]))
        messages += try_all(path)

    assert messages
    assert all(name in message for message in messages)


@given(
    which=st.sampled_from(["walk.c3d", "walk.edf", "breaks.edf", "walk.bdf"]),
    places=st.lists(st.tuples(st.integers(0, 2047), st.binary(min_size=1, max_size=8)), max_size=4),
)
@settings(max_examples=150, deadline=None)
def test_any_bytes_in_a_header_end_in_a_recording_or_a_message(headers, which, places):
    path, clean = headers[which]
    mutant = bytearray(clean)
    for at, content in places:
        mutant[at : at + len(content)] = content
    path.write_bytes(bytes(mutant))

    assert all(which in message for message in try_all(path))


@pytest.fixture(scope="module")
def headers(tmp_path_factory) -> dict[str, tuple[Path, bytes]]:
    folder = tmp_path_factory.mktemp("headers")
    found = {}
    for name, write in (
        ("walk.c3d", write_c3d),
        ("walk.edf", write_edf),
        ("breaks.edf", write_broken_edf),
        ("walk.bdf", write_edf),
    ):
        write(folder / name)
        found[name] = (folder / name, (folder / name).read_bytes())
    return found
