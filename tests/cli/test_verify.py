"""`twinangle verify` and `twinangle compare`: what changed is named, and nothing is touched."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

import twinangle
from twinangle.cli import main
from twinangle.results.changes import Change
from twinangle.run import STUDY_PLACE, run_into
from twinangle.simulate import write_demo_study
from twinangle.verify import Verified


def command(*words, monkeypatch, capsys) -> tuple[int, str, str]:
    """Run the command line and return its status, output and errors."""
    monkeypatch.setattr(sys, "argv", ["twinangle", *map(str, words)])
    with pytest.raises(SystemExit) as leaving:
        main()
    said = capsys.readouterr()
    return leaving.value.code, said.out, said.err


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A small study and its results."""
    home = tmp_path_factory.mktemp("verify")
    study = write_demo_study(home / "study", participants=1, walk_s=25.0)
    text = study.read_text(encoding="utf-8")
    study.write_text(
        text.replace('["kalman-two-sensors", "kalman-forward"]', '["vqf"]'), encoding="utf-8"
    )
    run_into(twinangle.read_study(study), home / "results")
    return home


@pytest.fixture
def copy(home, tmp_path):
    """The study and its results, moved together to another place."""
    return shutil.copytree(home, tmp_path / "moved")


def bytes_of(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_run_that_was_moved_with_its_study_holds(copy, monkeypatch, capsys):
    before = bytes_of(copy)
    status, said, _ = command("verify", copy / "results", monkeypatch=monkeypatch, capsys=capsys)

    assert status == 0, said
    assert "every number of 2 trials and procedures is the same" in said
    assert bytes_of(copy) == before


def test_what_changed_is_named(copy, monkeypatch, capsys):
    study, results = copy / "study" / "study.toml", copy / "results"
    text = study.read_text(encoding="utf-8")
    study.write_text(text.replace("confidence = 0.95", "confidence = 0.9"), encoding="utf-8")
    (results / "methods.txt").write_text("edited", encoding="utf-8")
    status, said, _ = command("verify", results, monkeypatch=monkeypatch, capsys=capsys)

    assert status == 1
    assert "[study.toml] sha256: " in said
    assert "options.confidence: 0.95 → 0.9" in said
    assert "agreement.offset_ci_deg" in said or "more; --all lists them" in said
    assert "Not as the run wrote them: methods.txt." in said


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda copy: shutil.rmtree(copy / "study"), "there is no study file at '../study/"),
        (
            lambda copy: (copy / "results" / STUDY_PLACE).unlink(),
            "Name it: --study STUDY",
        ),
        (lambda copy: (copy / "results" / "results.json").unlink(), "output folder of a run"),
    ],
)
def test_what_is_missing_is_named(copy, spoil, message, monkeypatch, capsys):
    spoil(copy)
    status, _, told = command("verify", copy / "results", monkeypatch=monkeypatch, capsys=capsys)

    assert status == 1
    assert message in told


def test_two_runs_are_told_apart(copy, monkeypatch, capsys):
    results = copy / "results" / "results.json"
    other = shutil.copytree(copy / "results", copy / "other")
    alike = command("compare", copy / "results", other, monkeypatch=monkeypatch, capsys=capsys)
    text = results.read_text(encoding="utf-8")
    results.write_text(text.replace('"title": "', '"title": "Another '), encoding="utf-8")
    apart = command("compare", copy / "results", other, monkeypatch=monkeypatch, capsys=capsys)

    assert alike[:2] == (0, "The two runs are alike.\n")
    assert apart[0] == 1
    assert "study.title: Another " in apart[1]


def test_that_nobody_knows_of_edits_is_said():
    found = Verified(Path("results"), Path("study.toml"), (), None, 2)

    assert found.holds
    assert "Whether files were edited since the run is not known" in "\n".join(found.lines())
    assert not replace(found, edited=("report.pdf",)).holds
    assert replace(found, changes=(Change("version", "version", "1", "2"),)).holds
