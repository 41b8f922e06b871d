"""What a run tells of its recordings: warnings of a procedure, and the closing table."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

import twinangle.closing
from twinangle.analysis import run_study
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

PROCEDURES = ("kalman", "kalman-two-sensors", "kalman-joint-centre")


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder: Path = tmp_path_factory.mktemp("told") / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    text = (folder / "study.toml").read_text()
    names = ", ".join(f'"{name}"' for name in PROCEDURES)
    (folder / "study.toml").write_text(
        text.replace('"kalman-two-sensors", "kalman-forward"', names)
    )
    return run_study(read_study(folder))


def test_a_disturbed_field_warns_only_where_a_heading_rests_on_it(results):
    warned = {
        (trial.condition, trial.procedure)
        for trial in results.trials
        if any("magnetic field's direction strays" in text for text in trial.warnings)
    }
    assert warned == {("indoor", "kalman")}


def test_a_narrow_terminal_still_tells_conditions_and_procedures_apart(results, monkeypatch):
    for width in (80, 120):
        out = io.StringIO()
        terminal = Console(file=out, width=width, force_terminal=True, color_system=None)
        monkeypatch.setattr(twinangle.closing, "Console", lambda _t=terminal, **_: _t)
        twinangle.closing.print_closing(results, Path("results"))
        told = out.getvalue()
        lines = told.splitlines()
        for word in (*PROCEDURES, "indoor", "outdoor"):
            assert word in told
        assert sum("kalman-two-sensors" in line and "/" in line for line in lines) == 2
        assert max(len(line.rstrip()) for line in lines) <= width


UNSEEN_S = (30.0, 38.0)  # of the walk, which lasts from 25 to 48 s


def test_a_vertical_lost_and_found_again_is_told_in_the_runs_warnings(tmp_path):
    """The shank's sensor turned upside down and back, which its gyroscope does not show."""
    folder = tmp_path / "study"
    write_demo_study(folder, participants=1, walk_s=25.0)
    text = (folder / "study.toml").read_text()
    text = text.replace('"kalman-two-sensors", "kalman-forward"', '"kalman", "kalman-forward"')
    (folder / "study.toml").write_text(text)
    file = folder / "wearable" / "P01_outdoor.csv"
    table = pd.read_csv(file)
    unseen = table["time_s"].between(*UNSEEN_S)
    for kind in ("acc", "gyr", "mag"):
        for axis in "yz":  # half a turn about x
            table.loc[unseen, f"shank_{kind}_{axis}"] *= -1
    table.to_csv(file, index=False)
    told = {
        trial.procedure: [one for one in trial.warnings if "vertical" in one]
        for trial in run_study(read_study(folder)).trials
        if trial.condition == "outdoor"
    }
    assert set(told) == {"kalman", "kalman-forward"}
    for (warning,) in told.values():
        assert warning.startswith("distal sensor")
        at = warning.split("levelled again at ")[1].split(" s. The")[0].split(", ")
        lost, back = UNSEEN_S
        found = np.array([float(one) for one in at])
        assert ((found > lost) & (found < lost + 8)).any()  # within the window of the mean force
        assert ((found > back) & (found < back + 8)).any()
