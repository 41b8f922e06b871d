"""Decisions in what a run writes: tables, reading back, `verify`, and the data set."""

from __future__ import annotations

import csv
import json
import shutil

import pytest

from twinangle.analysis import analyse_trial, run_study
from twinangle.export import export_study
from twinangle.report.methods import methods_text
from twinangle.results.equality import difference
from twinangle.results.read_back import RESULTS, read_results
from twinangle.results.serialise import to_text
from twinangle.results.tables.writing import write_tables
from twinangle.run import run_into
from twinangle.study import read_study
from twinangle.study.decisions import DECISIONS, append_decision, read_decisions
from twinangle.verify import verify


@pytest.fixture
def with_decisions(own_walks):
    """The study of one walk with a lag, a cycle out, one undone and one that names none."""
    first = analyse_trial(own_walks.bare, own_walks.bare.trials[0])[0].cycles
    own_walks.decide("lag", {"lag_s": 1.503})
    for index in (10, 12):
        value = {"start_s": float(first.start_s[index]), "use": False}
        own_walks.decide("cycle", value, why="stumbled")
    own_walks.decide("undo", {"of": 3}, why="an ordinary stride")
    own_walks.decide("cycle", {"start_s": 2.0, "use": False})
    return own_walks


def without_pages(study, folder, **_):
    """Write what a run finds, without the figures and pages, which take most of its time."""
    results = run_study(study)
    (folder / "tables").mkdir(parents=True)
    write_tables(results, folder / "tables")
    (folder / RESULTS).write_text(to_text(results), encoding="utf-8")
    return results


def test_a_run_lists_decisions_and_verify_holds_it_against_them(
    with_decisions, tmp_path, monkeypatch
):
    folder = tmp_path / "results"
    results = run_into(read_study(with_decisions.folder), folder)

    assert difference(read_results(folder).decisions, results.decisions) is None
    assert difference(read_results(folder).without_decisions, results.without_decisions) is None
    assert read_results(folder).trials[0].chosen == results.trials[0].chosen
    with (folder / "tables" / "decisions.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["id"], row["kind"], row["why_not"]) for row in rows] == [
        ("1", "lag", ""),
        ("2", "cycle", ""),
        ("3", "cycle", "undone by 4"),
        ("4", "undo", ""),
        ("5", "cycle", "no cycle that could be used starts there"),
    ]
    assert "by hand: stumbled" in (folder / "tables" / "exclusions.csv").read_text()
    assert "1 lag and 1 cycle out" in methods_text(results)
    monkeypatch.setattr("twinangle.verify.run_into", without_pages)
    assert verify(folder).holds

    later = with_decisions.decision("undo", {"of": 1}, why="the search finds it as well")
    append_decision(with_decisions.folder, later)
    changed = verify(folder)
    assert not changed.holds
    places = {(change.kind, change.place) for change in changed.changes}
    assert ("input", f"[{DECISIONS}] sha256") in places
    assert any(kind == "number" and "synchronisation" in place for kind, place in places)


def test_the_data_set_carries_decisions_under_its_own_names(with_decisions, tmp_path):
    value = {"which": "analysed", "start_s": 6.0, "end_s": 33.0}
    with_decisions.decide("interval", value, why="walking alone")
    export_study(read_study(with_decisions.folder), tmp_path / "set", recode=True)
    kept = read_decisions(tmp_path / "set")
    assert [(each.id, each.kind) for each in kept] == [(1, "lag"), (2, "cycle"), (3, "cycle")]

    before = read_study(with_decisions.folder)
    after = read_study(tmp_path / "set")
    assert all(each.stands for each in after.decisions)
    one = analyse_trial(before, before.trials[0])[0]
    other = analyse_trial(after, after.trials[0])[0]
    assert one.synchronisation.lag_s == other.synchronisation.lag_s == 1.503
    assert other.cycles.reason == one.cycles.reason
    assert other.agreement.offset == pytest.approx(one.agreement.offset, abs=1e-3)


def test_the_line_of_a_decision_moves_with_the_folder(with_decisions, tmp_path):
    shutil.copytree(with_decisions.folder, tmp_path / "moved")
    moved = read_study(tmp_path / "moved")
    here = read_study(with_decisions.folder)
    assert moved.decisions == here.decisions
    lines = (tmp_path / "moved" / DECISIONS).read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["id"] for line in lines] == [1, 2, 3, 4, 5]
