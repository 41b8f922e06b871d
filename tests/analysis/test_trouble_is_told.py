"""What a run tells of its recordings: warnings of a procedure, and the closing table."""

from __future__ import annotations

import io
from pathlib import Path

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
    (folder / "study.toml").write_text(text.replace('"kalman", "vqf"', names))
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
