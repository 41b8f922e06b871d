"""The same trial in every format gives the same results, but for hashes and a format's resolution.

Each file is written with an independent library. Formats that hold 64-bit numbers must give the
same `results.json` to the last digit. For the others the resolution is stated: C3D holds 32-bit
floats, EDF 16-bit and BDF 24-bit integers over a stated range. There the results must be those of
a CSV file that holds the very numbers which an independent reader of that file sees; and against
the unrounded trial they may change by no more than the resolution can do to an angle.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from pyarrow import feather
from scipy.io import savemat

from twinangle import read_study, run_study
from twinangle.simulate import write_demo_study

N_WEARABLE, N_REFERENCE = 3900, 7800  # whole seconds at 100 and 200 Hz, as EDF has them
RATES = {"wearable": 100, "reference": 200}
UNITS = {"acc": "m/s^2", "gyr": "rad/s", "mag": "uT", "deg": "deg"}
# Range of each quantity in EDF and BDF, either way: what the 16 or 24 bits are spread over.
RANGES = {"acc": 50, "gyr": 12, "mag": 100, "deg": 100}
FASTEST_KNEE = 400.0  # degrees a second in the swing of walking, as the demo's curve has it

Frames = dict[str, pd.DataFrame]


@pytest.fixture(scope="module")
def trial(tmp_path_factory) -> tuple[str, str, Frames]:
    """Return study file, trials table and signals of one invented indoor walk."""
    folder = tmp_path_factory.mktemp("trial") / "study"
    write_demo_study(folder, participants=1, conditions=["indoor"], walk_s=14.0)
    toml = (
        (folder / "study.toml")
        .read_text()
        .replace('["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    )
    frames = {
        "wearable": pd.read_csv(folder / "wearable" / "P01_indoor.csv")[:N_WEARABLE],
        "reference": pd.read_csv(folder / "reference" / "P01_indoor.csv")[:N_REFERENCE],
    }
    # A file's own clock counts from its first sample; so that all formats have the same times,
    # the reference's begin at 0 here.
    frames["reference"] = frames["reference"].assign(time_s=np.arange(N_REFERENCE) / 200)
    return toml, (folder / "trials.csv").read_text(), frames


def quantity(name: str) -> str:
    return re.search("acc|gyr|mag|deg", name)[0]


def as_csv(folder: Path, role: str, frame: pd.DataFrame) -> str:
    frame.to_csv(folder / f"{role}.csv", index=False)
    return f"{role}.csv"


def as_parquet(folder: Path, role: str, frame: pd.DataFrame) -> str:
    frame.to_parquet(folder / f"{role}.parquet")
    return f"{role}.parquet"


def as_feather(folder: Path, role: str, frame: pd.DataFrame) -> str:
    feather.write_feather(pa.Table.from_pandas(frame), folder / f"{role}.feather")
    return f"{role}.feather"


def as_matlab_5(folder: Path, role: str, frame: pd.DataFrame) -> str:
    savemat(folder / f"{role}.mat", {n: frame[[n]].to_numpy() for n in frame}, do_compression=True)
    return f"{role}.mat"


def as_matlab_7_3(folder: Path, role: str, frame: pd.DataFrame) -> str:
    h5py = pytest.importorskip("h5py", reason="the library h5py is absent")
    path = folder / f"{role}.mat"
    with h5py.File(path, "w", userblock_size=512) as file:
        for name in frame:
            data = file.create_dataset(name, data=frame[[name]].to_numpy().T)
            data.attrs["MATLAB_class"] = np.bytes_("double")
    header = b"MATLAB 7.3 MAT-file, Platform: invented".ljust(116) + bytes(8) + b"\x00\x02IM"
    with path.open("r+b") as stream:
        stream.write(header)
    return path.name


def as_xlsx(folder: Path, role: str, frame: pd.DataFrame) -> str:
    pytest.importorskip("openpyxl", reason="the library openpyxl is absent")
    frame.to_excel(folder / f"{role}.xlsx", index=False)
    return f"{role}.xlsx"


def as_motion_bids(folder: Path, role: str, frame: pd.DataFrame) -> str:
    place = folder / "sub-P01" / "motion"
    place.mkdir(parents=True, exist_ok=True)
    (folder / "dataset_description.json").write_text('{"Name": "x", "BIDSVersion": "1.9.0"}')
    stem = place / f"sub-P01_task-walk_tracksys-{role}"
    frame.to_csv(f"{stem}_motion.tsv", sep="\t", header=False, index=False)
    rows = [(name, "n/a", "MISC", "n/a", "n/a") for name in frame]
    pd.DataFrame(rows, columns=["name", "component", "type", "tracked_point", "units"]).to_csv(
        f"{stem}_channels.tsv", sep="\t", index=False
    )
    Path(f"{stem}_motion.json").write_text(json.dumps({"SamplingFrequency": RATES[role]}))
    return f"sub-P01/motion/{stem.name}_motion.tsv"


def as_c3d(folder: Path, role: str, frame: pd.DataFrame) -> str:
    ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")
    names = [name for name in frame if name != "time_s"]
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [RATES[role]]
    content["parameters"]["POINT"]["LABELS"]["value"] = ["origin"]
    content["parameters"]["ANALOG"]["RATE"]["value"] = [RATES[role]]
    content["parameters"]["ANALOG"]["LABELS"]["value"] = names
    content["parameters"]["ANALOG"]["UNITS"]["value"] = [UNITS[quantity(n)] for n in names]
    content["data"]["points"] = np.zeros((4, 1, len(frame)))
    content["data"]["analogs"] = frame[names].to_numpy().T[None]
    content.write(str(folder / f"{role}.c3d"))
    return f"{role}.c3d"


def seen_in_c3d(folder: Path, role: str, frame: pd.DataFrame) -> pd.DataFrame:
    import ezc3d

    names = [name for name in frame if name != "time_s"]
    values = ezc3d.c3d(str(folder / f"{role}.c3d"))["data"]["analogs"][0].T
    return pd.DataFrame(values, columns=names).assign(time_s=np.arange(len(frame)) / RATES[role])


def write_edf(folder: Path, role: str, frame: pd.DataFrame, *, wide: bool) -> str:
    pyedflib = pytest.importorskip("pyedflib", reason="the library pyEDFlib is absent")
    name = f"{role}.{'bdf' if wide else 'edf'}"
    kind = pyedflib.FILETYPE_BDFPLUS if wide else pyedflib.FILETYPE_EDFPLUS
    names = [each for each in frame if each != "time_s"]
    top = 2 ** (23 if wide else 15) - 1
    with pyedflib.EdfWriter(str(folder / name), len(names), kind) as writer:
        writer.setSignalHeaders(
            [
                {
                    "label": each,
                    "dimension": UNITS[quantity(each)],
                    "sample_frequency": RATES[role],
                    "physical_max": RANGES[quantity(each)],
                    "physical_min": -RANGES[quantity(each)],
                    "digital_max": top,
                    "digital_min": -top - 1,
                    "transducer": "",
                    "prefilter": "",
                }
                for each in names
            ]
        )
        writer.writeSamples([frame[each].to_numpy() for each in names])
    return name


def as_edf(folder: Path, role: str, frame: pd.DataFrame) -> str:
    return write_edf(folder, role, frame, wide=False)


def as_bdf(folder: Path, role: str, frame: pd.DataFrame) -> str:
    return write_edf(folder, role, frame, wide=True)


def seen_in_edf(folder: Path, role: str, frame: pd.DataFrame, ending: str) -> pd.DataFrame:
    import pyedflib

    with pyedflib.EdfReader(str(folder / f"{role}.{ending}")) as reader:
        columns = {
            label: reader.readSignal(at) for at, label in enumerate(reader.getSignalLabels())
        }
    return pd.DataFrame(columns).assign(time_s=np.arange(len(frame)) / RATES[role])


def run(folder: Path, trial: tuple[str, str, Frames], write: Callable[..., str]) -> dict:
    """Write the trial's files, run the study, return its results without hashes and names."""
    toml, table, frames = trial
    folder.mkdir(parents=True, exist_ok=True)
    for role, frame in frames.items():
        table = table.replace(f"{role}/P01_indoor.csv", write(folder, role, frame))
    (folder / "study.toml").write_text(toml)
    (folder / "trials.csv").write_text(table)
    record = run_study(read_study(folder)).to_json()
    del record["provenance"]["inputs"]
    assert record["trials"][0]["status"] == "ok", record["trials"][0]["reason"]
    return json.loads(
        re.sub(
            r"[\w./-]+\.(csv|tsv|mat|xlsx|parquet|feather|c3d|edf|bdf)\b",
            "FILE",
            json.dumps(record),
        )
    )


@pytest.fixture(scope="module")
def expected(trial, tmp_path_factory) -> dict:
    return run(tmp_path_factory.mktemp("csv"), trial, as_csv)


@pytest.mark.parametrize(
    "write",
    [
        as_parquet,
        as_feather,
        as_matlab_5,
        as_matlab_7_3,
        pytest.param(as_xlsx, marks=pytest.mark.nightly),  # tests/formats holds it to the last bit
        as_motion_bids,
    ],
)
def test_formats_of_64_bit_numbers_give_the_same_results_to_the_last_digit(
    trial, expected, tmp_path, write
):
    assert run(tmp_path, trial, write) == expected


def differences(found, expected, *, place="", tolerance=1e-6) -> list[str]:
    """Return where two results differ by more than a relative and absolute tolerance."""
    if isinstance(expected, dict):
        assert found.keys() == expected.keys()
        return [
            text
            for key in expected
            for text in differences(
                found[key], expected[key], place=f"{place}.{key}", tolerance=tolerance
            )
        ]
    if isinstance(expected, list) and isinstance(found, list) and len(found) == len(expected):
        return [
            text
            for at, (one, other) in enumerate(zip(found, expected, strict=True))
            for text in differences(one, other, place=f"{place}[{at}]", tolerance=tolerance)
        ]
    if isinstance(expected, float) and isinstance(found, float):
        near = abs(found - expected) <= tolerance * max(1.0, abs(expected))
        return [] if near else [f"{place}: {found!r} for {expected!r}"]
    return [] if found == expected else [f"{place}: {found!r} for {expected!r}"]


def edf_step(bits: int, name: str) -> float:
    return 2 * RANGES[name] / (2**bits - 1)


STEPS = {
    "c3d": lambda name: RANGES[name] * 2.0**-24,  # half a unit in the last place of a float
    "edf": lambda name: edf_step(16, name),
    "bdf": lambda name: edf_step(24, name),
}


@pytest.mark.parametrize(
    ("ending", "write"),
    [("c3d", as_c3d), ("edf", as_edf), pytest.param("bdf", as_bdf, marks=pytest.mark.nightly)],
)
def test_formats_of_less_resolution_give_what_their_numbers_give_and_no_more_difference(
    trial, expected, tmp_path, ending, write
):
    found = run(tmp_path / "own", trial, write)

    toml, table, frames = trial
    see = seen_in_c3d if ending == "c3d" else lambda *asked: seen_in_edf(*asked, ending)
    seen = {role: see(tmp_path / "own", role, frame) for role, frame in frames.items()}
    rounded = run(tmp_path / "rounded", (toml, table, seen), as_csv)
    assert differences(found, rounded) == []
    # What one step of each instrument can do to an angle: the accelerometer's against gravity, the
    # gyroscope's and the magnetometer's between two corrections, taken as a second; in either of
    # the two sensors and once more through the axis that they give, and the reference's own step.
    step = STEPS[ending]
    sensor_deg = np.degrees(step("acc") / 9.81 + step("gyr") * 1.0 + step("mag") / 50.0)
    angle_deg = 3 * sensor_deg + step("deg")
    ours, theirs = found["trials"][0], expected["trials"][0]
    assert ours["cycles"]["kept"] == theirs["cycles"]["kept"]
    for part, key in (
        ("agreement", "offset_deg"),
        ("agreement", "rms_demeaned_deg"),
        ("agreement", "range_difference_deg"),
        ("variability", "wearable_sd_deg"),
        ("variability", "reference_sd_deg"),
    ):
        assert abs(ours[part][key] - theirs[part][key]) <= angle_deg, (part, key)
    lag = ours["synchronisation"]["lag_s"] - theirs["synchronisation"]["lag_s"]
    assert abs(lag) <= angle_deg / FASTEST_KNEE
