"""`init` on a folder of recordings in each format: what is recognised, what is left open."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyarrow import feather
from scipy.io import savemat

from twinangle.formats import describe_file
from twinangle.init import propose_study, write_proposal

SENSORS = [
    f"{segment}_{kind}_{axis}"
    for segment in ("thigh", "shank")
    for kind in ("acc", "gyr")
    for axis in "xyz"
]
UNITS = {"acc": "m/s^2", "gyr": "deg/s", "deg": "deg"}


def frame_of(names: list[str]) -> pd.DataFrame:
    values = np.random.default_rng(2).normal(size=(200, len(names)))
    return pd.DataFrame(values, columns=names).assign(time_s=np.arange(200) / 100)


def unit(name: str) -> str:
    return next(unit for kind, unit in UNITS.items() if kind in name)


def to_csv(path: Path, frame: pd.DataFrame) -> None:
    frame.to_csv(path, index=False)


def to_parquet(path: Path, frame: pd.DataFrame) -> None:
    frame.to_parquet(path)


def to_feather(path: Path, frame: pd.DataFrame) -> None:
    feather.write_feather(frame, path)


def to_mat(path: Path, frame: pd.DataFrame) -> None:
    savemat(path, {name: frame[[name]].to_numpy() for name in frame})


def to_xlsx(path: Path, frame: pd.DataFrame) -> None:
    frame.to_excel(path, index=False)


def to_c3d(path: Path, frame: pd.DataFrame) -> None:
    ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")
    names = [name for name in frame if name != "time_s"]
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [100]
    content["parameters"]["POINT"]["LABELS"]["value"] = ["origin"]
    content["parameters"]["ANALOG"]["RATE"]["value"] = [100]
    content["parameters"]["ANALOG"]["LABELS"]["value"] = names
    content["parameters"]["ANALOG"]["UNITS"]["value"] = [unit(name) for name in names]
    content["data"]["points"] = np.zeros((4, 1, len(frame)))
    content["data"]["analogs"] = frame[names].to_numpy().T[None]
    content.write(str(path))


def to_edf(path: Path, frame: pd.DataFrame) -> None:
    edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
    names = [name for name in frame if name != "time_s"]
    edfio.Edf(
        [
            edfio.EdfSignal(
                frame[name].to_numpy(), 100, label=name, physical_dimension=unit(name),
                physical_range=(-9, 9),
            )
            for name in names
        ]
    ).write(path)  # fmt: skip


@pytest.mark.parametrize(
    ("ending", "write", "own_clock", "own_units"),
    [
        ("csv", to_csv, False, False),
        ("parquet", to_parquet, False, False),
        ("feather", to_feather, False, False),
        ("mat", to_mat, False, False),
        ("xlsx", to_xlsx, False, False),
        ("c3d", to_c3d, True, True),
        ("edf", to_edf, True, True),
    ],
)
def test_a_folder_is_recognised_whatever_the_format(tmp_path, ending, write, own_clock, own_units):
    for person in ("P01", "P02"):
        write(tmp_path / f"{person}_hall_wearable.{ending}", frame_of(SENSORS))
        write(tmp_path / f"{person}_hall_reference.{ending}", frame_of(["knee_deg"]))
    (tmp_path / f"notes.{ending}").write_bytes(b"no recording")

    proposal = propose_study(tmp_path)
    written = write_proposal(tmp_path, proposal)

    found = tomllib.loads(proposal.study_toml)
    assert found["wearable"]["distal"]["gyroscope"] == [f"shank_gyr_{axis}" for axis in "xyz"]
    assert found["reference"]["angle"] == "knee_deg"
    assert ("time" in found["wearable"]) != own_clock
    assert ("units" in found["wearable"]) != own_units
    table = pd.read_csv(written[1], dtype=str, keep_default_na=False)
    assert table["participant"].tolist() == ["P01", "P02"]
    assert table["reference"].tolist() == [f"P0{k}_hall_reference.{ending}" for k in (1, 2)]
    assert sum(text.endswith(": wearable") for text in proposal.recognised) == 2
    assert any(f"notes.{ending}" in text for text in proposal.open_questions)
    description = describe_file(tmp_path / f"P01_hall_wearable.{ending}")
    assert description.rate_hz == pytest.approx(100)
    assert {channel.name for channel in description.channels} >= set(SENSORS)
