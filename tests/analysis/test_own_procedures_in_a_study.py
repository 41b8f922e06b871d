"""Own procedures named in a study file: run beside ours, their faults reported, the run goes on."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from twinangle.analysis import check_study, run_study
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

ROOT = Path(__file__).resolve().parents[2]
FAULTY = """

def broken(trial):
    raise KeyError("thigh")


def too_short(trial):
    return np.zeros(7)
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("own") / "study"
    write_demo_study(folder, participants=1, walk_s=25.0, conditions=["indoor"], hatch_deg=0.0)
    return folder


@pytest.fixture(autouse=True)
def module(tmp_path, monkeypatch):
    """Write the documented example, as the docs have it, and two faulty functions beside it."""
    text = (ROOT / "docs/background/wearable.md").read_text("utf-8")
    example = re.search(r"```python\n(# my_procedures\.py.*?)```", text, re.DOTALL).group(1)
    (tmp_path / "my_procedures.py").write_text(example + FAULTY, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "my_procedures", raising=False)


def with_procedures(folder: Path, *names: str):
    text = (folder / "study.toml").read_text()
    listed = ", ".join(f'"{name}"' for name in names)
    (folder / "own.toml").write_text(
        re.sub(r"procedures = \[.*?\]", f"procedures = [{listed}]", text)
    )
    return read_study(folder / "own.toml", allow_own_procedures=True)


def test_faulty_procedures_are_reported_and_the_others_go_on(folder):
    names = (
        "my_procedures:broken", "kalman", "my_procedures:too_short",
        "my_procedures:gyroscopes_only",
    )  # fmt: skip
    results = run_study(with_procedures(folder, *names))

    found = {trial.procedure: trial for trial in results.trials}
    assert [found[name].status for name in names] == ["failed", "ok", "failed", "ok"]
    assert "KeyError: 'thigh'" in found[names[0]].reason
    assert "shape (7,)" in found[names[2]].reason
    assert found[names[3]].agreement.rms_demeaned > found["kalman"].agreement.rms_demeaned
    contest = results.ranking[0].value
    ranked = {place.procedure for place in contest.standings}
    assert {"kalman", "my_procedures:gyroscopes_only"} <= ranked


def test_a_name_that_leads_nowhere_is_found_before_the_run(folder):
    study = with_procedures(folder, "kalman", "my_procedures:absent", "kalmann")
    first, second = check_study(study).faults
    assert "own.toml: [wearable] `procedures`" in first
    assert "holds no function 'absent'" in first
    assert "expected one of 'kalman'" in second
    assert check_study(with_procedures(folder, "kalman", "my_procedures:too_short")).faults == ()
