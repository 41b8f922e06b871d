"""What is proposed for a whole Motion-BIDS data set, and for each file format."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis import check_study, input_files
from twinangle.errors import StudyError
from twinangle.init import propose_study, write_proposal
from twinangle.study import read_study

KINDS = {"ACCEL": "m/s^2", "GYRO": "deg/s"}
RNG = np.random.default_rng(6)


def channel(name, component, kind, point, units):
    return dict(
        zip(
            ("name", "component", "type", "tracked_point", "units"),
            (name, component, kind, point, units),
            strict=True,
        )
    )


IMU = [
    channel(f"s{number}_{kind.lower()}_{axis}", axis, kind, point, unit)
    for number, point in enumerate(("RightThigh", "RightShank"))
    for kind, unit in KINDS.items()
    for axis in "xyz"
] + [channel("lat", "n/a", "LATENCY", "n/a", "s")]
ANGLE = [channel("flex", "n/a", "JNTANG", "RightKnee", "deg")]


def write(root: Path, person: str, task: str, system: str, channels: list[dict], run="1") -> Path:
    folder = root / f"sub-{person}" / "ses-b" / "motion"
    folder.mkdir(parents=True, exist_ok=True)
    stem = folder / f"sub-{person}_ses-b_task-{task}_tracksys-{system}_acq-right_run-{run}"
    values = RNG.normal(size=(900, len(channels)))
    values[:, [c["type"] == "ACCEL" for c in channels]] += 5.66
    values[:, [c["type"] == "GYRO" for c in channels]] *= 60
    frame = pd.DataFrame(values)
    if channels[-1]["type"] == "LATENCY":
        frame.iloc[:, -1] = np.arange(900) / 100
    frame.iloc[40:43, 0] = np.nan
    frame.to_csv(f"{stem}_motion.tsv", sep="\t", header=False, index=False, na_rep="n/a")
    pd.DataFrame(channels).to_csv(f"{stem}_channels.tsv", sep="\t", index=False)
    Path(f"{stem}_motion.json").write_text(
        json.dumps({"SamplingFrequency": 100, "TaskName": task, "TrackingSystemName": system})
    )
    return Path(f"{stem}_motion.tsv")


@pytest.fixture
def data_set(tmp_path) -> Path:
    """Two people walk indoors with an optical angle and outdoors without; one row lacks an age."""
    (tmp_path / "dataset_description.json").write_text(
        '{"Name": "invented", "BIDSVersion": "1.9.0"}'
    )
    for person in ("07", "12"):
        write(tmp_path, person, "indoor", "imu", IMU)
        write(tmp_path, person, "indoor", "optical", ANGLE)
        write(tmp_path, person, "outdoor", "imu", IMU, run="2")
    (tmp_path / "participants.tsv").write_text(
        "participant_id\tage\tgroup\nsub-12\tn/a\tb\nsub-07\t33\ta\n"
    )
    derived = write(tmp_path / "derivatives" / "x", "07", "indoor", "imu", IMU)
    assert derived.exists()
    return tmp_path


def test_a_whole_data_set_becomes_a_study(data_set):
    proposal = propose_study(data_set)
    write_proposal(data_set, proposal)

    table = pd.read_csv(data_set / "trials.csv", dtype=str, keep_default_na=False)
    assert table[["participant", "session", "condition", "trial", "side"]].to_numpy().tolist() == [
        [person, "b", condition, run, "right"]
        for person in ("07", "12")
        for condition, run in (("indoor", "1"), ("outdoor", "2"))
    ]
    assert (table["reference"] != "").tolist() == [True, False, True, False]
    assert table["age"].tolist() == ["33", "33", "", ""]
    assert table["group"].tolist() == ["a", "a", "b", "b"]
    assert "derivatives" not in proposal.trials_csv
    found = tomllib.loads(proposal.study_toml)
    assert found["wearable"]["distal"]["gyroscope"] == [f"s1_gyro_{axis}" for axis in "xyz"]
    assert "time" not in found["wearable"]  # its own LATENCY channel
    assert "units" not in found["wearable"]  # declared in channels.tsv
    assert found["reference"]["unit"] == "deg"
    # The tables of the data set are no recordings, and nothing is asked about them.
    said = "\n".join(proposal.open_questions)
    assert "participants" not in said
    assert "channels" not in said


def test_the_proposed_study_reads_the_data_set_once_standing_is_given(data_set):
    write_proposal(data_set, propose_study(data_set))
    with pytest.raises(StudyError, match="no neutral standing is given"):
        read_study(data_set)
    table = pd.read_csv(data_set / "trials.csv", dtype=str, keep_default_na=False)
    table.assign(static_start_s="1", static_end_s="2").to_csv(data_set / "trials.csv", index=False)

    study = read_study(data_set)

    assert check_study(study).faults == ()
    assert study.wearable.procedures == ("kalman-joint-centre",)  # it has no magnetometer
    # The sidecars are among what the results rest on.
    inputs = [path.relative_to(data_set).as_posix() for path in input_files(study)]
    assert len(set(inputs)) == len(inputs) == 2 + 3 * 6
    assert sum(name.endswith("_channels.tsv") for name in inputs) == 6
    assert sum(name.endswith("_motion.json") for name in inputs) == 6
    assert study.trials[0].covariates == {"age": 33.0, "group": "a"}
    assert study.trials[2].covariates == {"group": "b"}


def test_one_tracking_system_a_sensor_is_joined(data_set):
    for path in data_set.glob("sub-*/ses-b/motion/*imu*"):
        path.unlink()
    for segment, part in (("thigh", IMU[:6]), ("shank", IMU[6:12])):
        for person in ("07", "12"):
            write(data_set, person, "indoor", segment, part)

    proposal = propose_study(data_set)
    files = tomllib.loads(proposal.study_toml)["wearable"]["files"]

    assert files == {
        "proximal": "{wearable}-thigh_acq-right_run-1_motion.tsv",
        "distal": "{wearable}-shank_acq-right_run-1_motion.tsv",
    }
    rows = [line.split(",") for line in proposal.trials_csv.splitlines()]
    place = rows[0].index("wearable")
    assert [row[place] for row in rows[1:]] == [
        f"sub-{person}/ses-b/motion/sub-{person}_ses-b_task-indoor_tracksys"
        for person in ("07", "12")
    ]
