"""A further hinge-like joint is one value: an ankle, from its study file to the report's words."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle.analysis import run_study
from twinangle.errors import StudyError
from twinangle.export.channel_rows import describe
from twinangle.formats import describe_file, read_recording
from twinangle.init.recognition import find_sensors
from twinangle.reference.optical import marker_angle
from twinangle.report.methods import methods_text
from twinangle.signals.joint import JOINTS, Joint, Segment
from twinangle.signals.recording import Recording
from twinangle.simulate import write_demo_study
from twinangle.study import MarkerReference, read_study

ANKLE = Joint(
    name="ankle",
    movement="plantarflexion",
    proximal=Segment("shank", ("shank", "tibia", "lower leg")),
    distal=Segment("foot", ("foot", "heel")),
    forwards=-1,  # the toes turn downwards, as the shank turns backwards in knee flexion
)


@pytest.fixture
def with_ankle(monkeypatch):
    monkeypatch.setitem(JOINTS, "ankle", ANKLE)


@pytest.fixture
def folder(tmp_path):
    """An invented study of a hinge, its sensors named after the shank and the foot."""
    folder = tmp_path / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    for path in [folder / "study.toml", *folder.rglob("*.csv")]:
        text = path.read_text().replace("shank_", "foot_").replace("thigh_", "shank_")
        path.write_text(text.replace('joint = "knee"', 'joint = "ankle"'))
    return folder


def test_an_unknown_joint_is_refused_by_the_names_there_are(folder):
    with pytest.raises(StudyError, match=r"`joint`.*'knee' or 'elbow'.*'ankle'"):
        read_study(folder)


def test_a_study_of_a_third_joint_runs_and_is_called_by_its_name(with_ankle, folder):
    study = read_study(folder)
    results = run_study(study)
    indoor = next(trial for trial in results.trials if trial.agreement is not None)

    assert indoor.agreement.correlation > 0.99
    assert methods_text(results).count("Ankle plantarflexion was measured") == 1
    recording = read_recording(study.trials[0].wearable, time="time_s")
    points = {row.tracked_point for row in describe(recording, study.wearable, "ankle", "left")}
    assert {"leftShank", "leftFoot"} <= points


def test_a_segment_between_two_joints_belongs_to_the_one_that_is_whole(with_ankle, folder):
    path = read_study(folder).trials[0].wearable
    sensors = find_sensors(describe_file(path))
    assert sensors.by_segment["proximal"]["gyroscope"][0] == "shank_gyr_x"
    assert sensors.by_segment["distal"]["gyroscope"][0] == "foot_gyr_x"


def test_markers_turn_the_way_the_joint_says(with_ankle):
    # Toes 20 degrees below a level foot, seen from the right, forwards along x.
    angle = np.radians(-20.0)
    toes = [np.cos(angle), np.sin(angle)]
    still = np.array([[0.0, 1.0, 0.0, 0.0, 0.0, 0.0, *toes]]).repeat(20, axis=0)
    points = ("knee", "ankle", "heel", "toes")
    names = tuple(f"{point}_{axis}" for point in points for axis in "xy")
    recording = Recording(np.arange(20) / 100, still, names, ("mm",) * 8, "invented.csv")
    settings = MarkerReference.model_validate(
        {
            "kind": "markers",
            "rate_hz": 100.0,
            "method": "sagittal",
            "unit": "mm",
            "plane": ("x", "y"),
            "proximal": {"upper": "knee", "lower": "ankle"},
            "distal": {"upper": "heel", "lower": "toes"},
        }
    )
    knee, _ = marker_angle(recording, settings, joint="knee", side="")
    ankle, _ = marker_angle(recording, settings, joint="ankle", side="")
    elbow, _ = marker_angle(recording, settings, joint="elbow", side="")
    np.testing.assert_allclose(ankle, knee)
    np.testing.assert_allclose(elbow, -knee)
