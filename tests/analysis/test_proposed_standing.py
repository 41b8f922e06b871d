"""Standing that is proposed: where the person stood by the schedule, and written where it says."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from twinangle import TwinangleError, plotting, read_study
from twinangle.analysis import propose_standing, write_standing
from twinangle.simulate import write_demo_study

STOOD_S = (0.5, 9.5)  # of the invented schedule: standing, then knee bends, then the walk


@pytest.fixture(scope="module")
def invented(tmp_path_factory):
    folder = tmp_path_factory.mktemp("standing") / "study"
    write_demo_study(folder, participants=1, walk_s=20.0)
    return folder


@pytest.fixture
def open_study(invented, tmp_path):
    """A study whose table holds no times of standing yet."""
    path = Path(shutil.copytree(invented, tmp_path / "study")) / "study.toml"
    table = read_study(path).table
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    for row in rows:
        row["static_start_s"] = row["static_end_s"] = ""
    with table.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_standing_is_proposed_where_it_was_written_only_when_confirmed(open_study):
    with pytest.raises(TwinangleError, match="no neutral standing is given"):
        read_study(open_study)
    before = open_study.with_name("trials.csv").read_text("utf-8")
    proposed = propose_standing(open_study)
    assert open_study.with_name("trials.csv").read_text("utf-8") == before
    for one in proposed:
        assert one.origin == "proposed"
        assert STOOD_S[0] - 0.5 <= one.stretch.start_s < one.stretch.end_s <= STOOD_S[1]
        assert one.moving_deg_s < 8

    first = proposed[0].row
    write_standing(open_study, proposed, instead={first: (2.0, 4.5)})

    study = read_study(open_study)
    assert (study.trials[0].static.start_s, study.trials[0].static.end_s) == (2.0, 4.5)
    for one, trial in zip(proposed[1:], study.trials[1:], strict=True):
        assert trial.static == one.stretch
    again = propose_standing(open_study)
    assert {one.origin for one in again} == {"given"}
    after = open_study.with_name("trials.csv").read_bytes()
    write_standing(open_study, again)
    assert open_study.with_name("trials.csv").read_bytes() == after


def test_what_is_wrong_is_told_and_nothing_written(open_study):
    (one, *_) = propose_standing(open_study)
    before = open_study.with_name("trials.csv").read_bytes()
    none = replace(one, origin="none", stretch=None)
    for standing, instead, told in (
        ([one], {99: (1, 2)}, "row 99 is not among those proposed"),
        ([one], {one.row: (4, 2)}, "ends too early"),
        ([one], {one.row: 4.5}, "expected start and end in seconds, got 4.5; accepted"),
        ([one], {one.row: "24"}, "expected start and end in seconds, got '24'; accepted"),
        ([one], {one.row: (1, None)}, "expected start and end in seconds"),
        ([none], {}, "no quiet stretch was found"),
    ):
        with pytest.raises(TwinangleError, match=told):
            write_standing(open_study, standing, instead=instead)
    assert open_study.with_name("trials.csv").read_bytes() == before


def test_the_stretch_is_shaded_and_named(open_study):
    (one, *_) = propose_standing(open_study)
    axes = plotting.plot_standing(one, Figure().add_subplot())
    assert axes.get_ylabel() == "Rate (°/s)"
    assert f"{one.stretch.start_s:g} to {one.stretch.end_s:g} s" in axes.get_title("left")
    (shade,) = axes.patches
    assert np.isclose(shade.get_x(), one.stretch.start_s)
    with pytest.raises(TypeError, match="propose_standing"):
        plotting.plot_standing(3)
