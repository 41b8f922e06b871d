"""`twinangle export` as a user meets it, on a study of ready-made angles."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study, run_study

STUDY = """
[study]
title = "Two stand-in instruments"
joint = "elbow"
trials = "trials.csv"
[wearable]
kind = "angle"
rate_hz = 50.0
angles = { first = "a deg", "second way" = "b" }
unit = "rad"
sign = -1
[reference]
kind = "angle"
time = "t"
angle = "elbow"
sign = -1
[synchronisation]
max_lag_s = 8
[cycles]
method = "angle-peak"
[conditions]
against = "slow"
"""


def twinangle(*words) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from twinangle.cli import main; main()", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def curve(time_s):
    """Return an invented elbow that bends every 1.3 s, with a stronger bend now and then."""
    bend = 25 * (1 - np.cos(2 * np.pi * time_s / 1.3))
    return bend * (1 + 0.2 * np.sin(0.37 * time_s) + 0.1 * np.sin(0.11 * time_s**1.2))


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    rng = np.random.default_rng(5)
    time_s = np.arange(0, 60, 0.02)
    noise = rng.normal(0, 0.3, (3, time_s.size))
    pd.DataFrame(
        {
            "a deg": -np.radians(curve(time_s) + noise[0]),
            "b": -np.radians(curve(time_s) - 2 + noise[1]),
        }
    ).to_csv(folder / "w.csv", index=False)
    pd.DataFrame({"t": time_s - 1.5, "elbow": -curve(time_s) + noise[2]}).to_csv(
        folder / "r.csv", index=False
    )
    # One long recording that holds both conditions.
    (folder / "trials.csv").write_text(
        "participant;condition;trial;wearable;reference;start_s;end_s;load_kg\n"
        "P01;slow;warm up;w.csv;r.csv;2;30,5;1,5\n"
        "P01;fast;warm up;w.csv;r.csv;30,5;58;2\n"
    )
    (folder / "study.toml").write_text(STUDY)
    return folder


@pytest.mark.nightly
def test_a_study_is_exported_run_again_and_gives_the_same_numbers(study, tmp_path):
    done = twinangle("export", study / "study.toml", "--to", tmp_path / "set")
    assert done.returncode == 0, done.stderr
    assert "2 recordings" in done.stdout  # both trials are stretches of the same two files

    results = []
    for folder in (study, tmp_path / "set"):
        record = run_study(read_study(folder)).to_json()
        for part in ("inputs", "parameters"):
            record["provenance"].pop(part)
        results.append(json.dumps(record).replace("w.csv", "FILE").replace("r.csv", "FILE"))
    (motion,) = (tmp_path / "set").glob("sub-P01/ses-1/motion/*tracksys-wearable*_motion.tsv")
    (other,) = (tmp_path / "set").glob("sub-P01/ses-1/motion/*tracksys-reference*_motion.tsv")
    assert "_acq-warmUp_motion.tsv" in motion.name
    found = results[1]
    for path in (motion, other):
        found = found.replace(path.relative_to(tmp_path / "set").as_posix(), "FILE")
    assert found == results[0]


def test_a_name_stops_the_export_with_a_message_and_recode_prints_the_key(study, tmp_path):
    text = (study / "trials.csv").read_text().replace("P01", "Eva Muster")
    copy = tmp_path / "study"
    copy.mkdir()
    for name in ("w.csv", "r.csv", "study.toml"):
        (copy / name).write_bytes((study / name).read_bytes())
    (copy / "trials.csv").write_text(text)

    refused = twinangle("export", copy, "--to", tmp_path / "set")
    assert refused.returncode == 1
    assert "'Eva Muster' looks like a person's name" in refused.stderr
    assert "--recode" in refused.stderr
    assert "Traceback" not in refused.stderr

    done = twinangle("export", copy, "--to", tmp_path / "set", "--recode")
    assert done.returncode == 0, done.stderr
    assert "Eva Muster is P01" in done.stdout
    assert not list((tmp_path / "set").glob("*Muster*"))
