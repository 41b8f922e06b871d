"""`twinangle verify` and `twinangle compare`: what changed is named, and nothing is touched."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

import twinangle
from twinangle.cli import main
from twinangle.results.changes import REST, TOPICS, Change, topic_of
from twinangle.run import STUDY_PLACE, run_into
from twinangle.simulate import write_demo_study
from twinangle.verify import SHOWN_OF_TOPIC, Verified, told


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
    text = text.replace('["kalman-two-sensors", "kalman-forward"]', '["vqf"]')
    study.write_text(f"{text}\n[report]\ndocuments = []\n", encoding="utf-8")
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
    assert "agreement.confidence: 0.95 → 0.9 (and so in " in said
    assert "options.confidence" not in said
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


def test_what_is_asked_first_is_told_first_and_long_lists_are_cut():
    """Clock internals once filled the list before any offset."""
    places = {
        "[P01 indoor vqf] synchronisation.window_lag_s [3]": "the rest",
        "[P01 indoor vqf] synchronisation.lag_s": "clocks",
        "ranking [indoor] standings [a] mean_deg": "procedures",
        "conditions [vqf outdoor] ratio": "conditions",
        "limits_of_agreement [indoor vqf mean_deg] bias_deg": "limits of agreement",
        "limits_of_agreement [indoor vqf mean_deg] size_deg [7]": "the rest",
        "[P01 indoor vqf] variability.wearable_sd_deg": "SD over cycles",
        "variability [vqf indoor] test_sd_deg": "SD over cycles",
        "[P01 indoor vqf] agreement.rms_demeaned_deg": "RMS",
        "curves [vqf indoor] rms_demeaned_deg": "RMS",
        "[P01 indoor vqf] agreement.offset_deg": "offset",
        "curves [vqf indoor] offset_ci_deg [0]": "offset",
        "curves [vqf indoor] offset_deg": "offset",
        "answer.n_cycles": "what was analysed",
    }
    assert {place: topic_of(place) for place in places} == places
    found = [Change("number", place, 1.0, 2.0) for place in places]
    lines = told([*found, Change("setting", "cycles.turns", 1, 2)])
    numbers = lines[lines.index("14 numbers changed:") + 1 :]
    assert lines[0] == "1 setting changed:"
    assert [line.strip().rpartition(":")[0] for line in numbers][:4] == [
        "answer.n_cycles",
        "curves [vqf indoor] offset_deg",
        "curves [vqf indoor] offset_ci_deg [0]",
        "[P01 indoor vqf] agreement.offset_deg",
    ]
    topics = [places[line.strip().rpartition(":")[0]] for line in numbers]
    in_order = [name for name, _ in TOPICS] + [REST]
    assert topics == sorted(topics, key=in_order.index)
    many = [
        Change("number", f"[P{k:02} indoor vqf] synchronisation.lag_s", 1.0, 2.0) for k in range(30)
    ]
    lines = told([*many, found[-4]])
    assert len(lines) == 3 + SHOWN_OF_TOPIC
    assert lines[-1] == "  and 26 more (clocks 26; all in results.json of both); --all lists them"
    assert len(told(many, everything=True)) == 31
