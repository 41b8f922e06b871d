"""What is proposed for a file of marker trajectories."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from twinangle.formats import describe_file
from twinangle.init import suggest_section

ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")


def write(path, labels, analogue=()):
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [100]
    content["parameters"]["POINT"]["LABELS"]["value"] = list(labels)
    content["parameters"]["POINT"]["UNITS"]["value"] = ["m"]
    content["data"]["points"] = np.ones((4, len(labels), 20))
    if analogue:
        content["parameters"]["ANALOG"]["RATE"]["value"] = [1000]
        content["parameters"]["ANALOG"]["LABELS"]["value"] = list(analogue)
        content["data"]["analogs"] = np.ones((1, len(analogue), 200))
    content.write(str(path))
    return describe_file(path)


def test_markers_are_listed_and_their_places_left_open(tmp_path):
    section = suggest_section(write(tmp_path / "a.c3d", ["RGTR", "R_Knee", "RHF", "R_Ankle"]))

    found = tomllib.loads(section)["reference"]
    assert (found["kind"], found["unit"]) == ("markers", "m")
    assert "time" not in found
    assert found["proximal"] == dict.fromkeys(("markers", "lateral", "medial", "upper"), "?")
    assert found["distal"] == dict.fromkeys(("markers", "lateral", "medial"), "?")
    assert "# markers in the file: RGTR, R_Knee, RHF, R_Ankle" in section


def test_a_goniometer_beside_the_markers_is_proposed_first(tmp_path):
    found = write(tmp_path / "a.c3d", ["RGTR", "R_Knee", "RHF", "R_Ankle"], ["knee_gonio"])

    assert tomllib.loads(suggest_section(found))["reference"]["angle"] == "knee_gonio"


def test_three_markers_are_too_few_for_any_angle(tmp_path):
    assert suggest_section(write(tmp_path / "a.c3d", ["A", "R_Knee", "B"])) is None
