"""A name in the headers of the recordings occurs nowhere in what a run writes or prints."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest

from twinangle import read_study, run_study
from twinangle.export import export_study
from twinangle.formats import describe_file
from twinangle.init import propose_study
from twinangle.run import write_outputs
from twinangle.simulate.gait import stylised_knee_deg

edfio = pytest.importorskip("edfio", reason="the library edfio is absent")
ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")

NAME = "Zebedee_Quillfeather"  # invented
RATE_HZ = 100
STUDY = """
[study]
title = "Header privacy"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
angle = "knee angle"
[reference]
kind = "angle"
angle = "gonio"
unit = "V"
gain = 50.0
[synchronisation]
max_lag_s = 0.4
[cycles]
method = "angle-peak"
"""


def write_wearable(path: Path, angle: np.ndarray) -> None:
    signal = edfio.EdfSignal(
        angle, RATE_HZ, label="knee angle", physical_dimension="deg", physical_range=(-180, 180),
        transducer_type=NAME, prefiltering=NAME,
    )  # fmt: skip
    edfio.Edf(
        [signal],
        patient=edfio.Patient(code="X", name=NAME, additional=[NAME]),
        recording=edfio.Recording(
            hospital_administration_code=NAME,
            investigator_technician_code=NAME,
            equipment_code=NAME,
        ),
        data_record_duration=1,
        annotations=[edfio.EdfAnnotation(1.0, None, "start")],
    ).write(path)


def write_reference(path: Path, volts: np.ndarray) -> None:
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [RATE_HZ]
    content["parameters"]["POINT"]["LABELS"]["value"] = [f"{NAME}:HIP"]
    content["parameters"]["ANALOG"]["RATE"]["value"] = [RATE_HZ]
    content["parameters"]["ANALOG"]["LABELS"]["value"] = ["gonio"]
    content["parameters"]["ANALOG"]["UNITS"]["value"] = ["V"]
    content["data"]["points"] = np.ones((4, 1, volts.size))
    content["data"]["analogs"] = volts[np.newaxis, np.newaxis]
    for group, name in (
        ("SUBJECTS", "NAMES"), ("SUBJECTS", "LABEL_PREFIXES"), ("MANUFACTURER", "COMPANY"),
        ("TRIAL", "COMMENT"), ("POINT", "DESCRIPTIONS"),
    ):  # fmt: skip
        content.add_parameter(group, name, [NAME])
    content.write(str(path))


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("privacy") / "study"
    folder.mkdir()
    rng = np.random.default_rng(2)
    rows = ["participant,condition,trial,wearable,reference"]
    for person in (1, 2):
        phase = np.cumsum(np.repeat(rng.normal(0.92, 0.02, 40), RATE_HZ)) / RATE_HZ
        knee = stylised_knee_deg(phase)
        stem = f"P{person:02d}_level_t1"
        write_wearable(folder / f"{stem}.edf", knee + 2 + rng.normal(0, 0.3, knee.size))
        write_reference(folder / f"{stem}.c3d", knee / 50)
        rows.append(f"P{person:02d},level,1,{stem}.edf,{stem}.c3d")
    (folder / "trials.csv").write_text("\n".join(rows) + "\n")
    (folder / "study.toml").write_text(STUDY)
    paths = (*folder.glob("*.edf"), *folder.glob("*.c3d"))
    assert len(paths) == 4
    for path in paths:
        assert path.read_bytes().count(NAME.encode()) >= 5
    return folder


def texts_of(path: Path) -> bytes:
    """Return a file's bytes, and for a PDF its unpacked streams and the text on its pages."""
    data = path.read_bytes()
    if path.suffix != ".pdf":
        return data
    parts = [data]
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            parts.append(zlib.decompress(stream))
        except zlib.error:
            continue
    if shutil.which("pdftotext"):
        done = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True)
        parts.append(done.stdout)
    return b"\n".join(parts)


def test_a_planted_name_is_nowhere_in_the_outputs(study, tmp_path):
    results = run_study(read_study(study))
    assert [trial.status for trial in results.trials] == ["ok", "ok"]

    write_outputs(results, tmp_path / "out", image_formats=("png",))

    files = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    assert {"report.pdf", "results.json", "methods.txt"} <= {path.name for path in files}
    pieces = [piece.encode() for piece in (NAME, *NAME.split("_"))]
    for path in files:
        content = texts_of(path).lower()
        assert not any(piece.lower() in content for piece in pieces), path.name
    if shutil.which("pdftotext"):  # the search does find what the report says
        assert b"Header privacy" in texts_of(tmp_path / "out" / "report.pdf")


def test_a_planted_name_is_nowhere_in_the_exported_data_set(study, tmp_path):
    export_study(read_study(study), tmp_path / "set")

    files = [path for path in (tmp_path / "set").rglob("*") if path.is_file()]
    assert any(path.name.endswith("_motion.tsv") for path in files)
    for path in files:
        assert NAME.encode() not in path.read_bytes(), path.name


def test_a_planted_name_is_nowhere_in_descriptions_and_proposals(study):
    for path in (*study.glob("*.edf"), *study.glob("*.c3d")):
        found = describe_file(path)
        assert NAME not in f"{found} {found!r}".replace(str(path), "")
    assert [c.name for c in describe_file(study / "P01_level_t1.c3d").channels][:1] == ["HIP_x"]


def test_a_proposal_from_files_with_a_name_in_them_has_none(study, tmp_path):
    for path in study.glob("*.edf"):
        labels = [
            f"{segment}_{kind}_{axis}"
            for segment in ("thigh", "shank") for kind in ("acc", "gyr") for axis in "xyz"
        ]  # fmt: skip
        signals = [
            edfio.EdfSignal(np.zeros(200), 100, label=label, physical_range=(-9, 9))
            for label in labels
        ]
        edfio.Edf(signals, patient=edfio.Patient(name=NAME), data_record_duration=1).write(
            tmp_path / path.name
        )
        shutil.copy(path.with_suffix(".c3d"), tmp_path)

    proposal = propose_study(tmp_path)

    assert '"shank_gyr_z"' in proposal.study_toml
    assert 'angle = "gonio"' in proposal.study_toml
    assert "P01_level_t1.c3d" in proposal.trials_csv
    assert NAME not in repr(proposal)
