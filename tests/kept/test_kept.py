"""What is kept from one run to the next gives the same bytes, and no more than has not changed."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.kept.conftest import First, run
from typer.testing import CliRunner

from twinangle import read_study, recordings_of_run
from twinangle.analysis import analyse_trial
from twinangle.analysis.study import study_parameters
from twinangle.cli import app
from twinangle.kept import Key, Steps, Store
from twinangle.parallel import Workers
from twinangle.recordings_of_run import Recordings
from twinangle.run_log import Tally
from twinangle.study import Study

# All that a margin is drawn in, written in or computed from, where two people have no bands.
OF_THE_MARGIN = {
    "figures over all: draw_group_curves",
    "figures over all: draw_limits",
    "page: report",
    "paper: tables",
    "results.json: others",
    "table: equivalence",
    "table: inputs",  # the hash of the study file stands there
    "table: not_given",
    "typeset: report.pdf",
}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".twinangle-study.txt"
    }


def copied(first: First, place: Path) -> First:
    """Return a study and a store that may be changed."""
    shutil.copytree(first.folder, place / "study")
    shutil.copytree(first.store.folder, place / "kept")
    return First(place / "study", Store(place / "kept"), place / "out")


def made(store: Store, work: Callable[[], object]) -> set[str]:
    """Return the names of the entries that some work adds to a store."""
    before = {entry.path for entry in store.entries()}
    work()
    return {entry.name for entry in store.entries() if entry.path not in before}


def recordings(store: Store) -> int:
    return sum(entry.is_recording for entry in store.entries())


def change_margin(folder: Path) -> None:
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count("acceptable_deg = 5.0") == 1
    path.write_text(text.replace("acceptable_deg = 5.0", "acceptable_deg = 3.0"), encoding="utf-8")


def change_file(study: Study, which: int = 2) -> Study:
    path = study.trials[which].wearable
    assert isinstance(path, Path)
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:-5]))  # the last samples, long after the walk
    return study


def test_a_rerun_of_nothing_new_loads_no_library_that_analyses_or_draws(first, tmp_path):
    code = (
        "import sys; from pathlib import Path; from twinangle import read_study; "
        "from twinangle.kept import Store; from twinangle.run import run_into; "
        "study, kept, out = map(Path, sys.argv[1:]); "
        "run_into(read_study(study), out, kept=Store(kept), on_fault=print); "
        "print(sorted({'scipy.signal', 'scipy.stats', 'matplotlib', 'typst', 'vqf', 'numba', "
        "'statsmodels'} & set(sys.modules)))"
    )
    words = (str(first.folder), str(first.store.folder), str(tmp_path / "out"))
    finished = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    assert finished.stdout.strip() == "[]"


def test_the_bytes_are_the_same_though_nothing_is_made_again(first, tmp_path):
    assert made(first.store, lambda: run(first.study, tmp_path / "again", first.store, jobs=2)) == (
        set()
    )
    assert contents(tmp_path / "again") == contents(first.out)


def test_what_changes_is_made_again_and_nothing_else(first, tmp_path):
    """First the margin, then one recording, then the confidence, which enters the last step alone.

    The last results are those without a store.
    """
    own = copied(first, tmp_path)
    change_margin(own.folder)
    assert made(own.store, lambda: run(own.study, own.out, own.store)) == OF_THE_MARGIN

    changed = change_file(own.study)
    name = " ".join(changed.trials[2].identity)
    again = made(own.store, lambda: run(changed, own.out, own.store, jobs=2))
    figures = {each.removeprefix("cycles: ") for each in again if each.startswith("cycles")}
    assert {each for each in again if " " in each and ":" not in each} == {name}
    assert figures <= {"P02_indoor_s1_t1_right"}  # the scale of all is as it was
    assert {"pooled: limits", "table: exclusions"} <= again
    # The last samples are no part of the walk: what figures over all show of it is as it was.
    assert not any(each.startswith("figures over all") for each in again)
    lines = {each.partition(": ")[2] for each in again if each.startswith("tables of a trial")}
    assert lines
    assert all(each.startswith(f"{name} ") for each in lines)

    other = changed.with_(confidence=0.9)
    again = made(own.store, lambda: run(other, own.out, own.store))
    assert {" ".join(trial.identity) for trial in other.trials} <= again
    of_no_interval = ("measured", "figures of a recording", "cycles")
    assert not [each for each in again if each.startswith(of_no_interval)]

    run(other, tmp_path / "without", None)
    assert contents(own.out) == contents(tmp_path / "without")


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda study: study.with_(acceptable_deg=3.0), [True] * 4),
        (lambda study: study.with_(confidence=0.9), [False] * 4),
        (lambda study: study.with_(cycles={"turns": False}), [False] * 4),
        (
            lambda study: replace(
                study,
                trials=(
                    replace(study.trials[0], covariates={"speed_m_s": 1.25}),
                    *study.trials[1:],
                ),
            ),
            [False, True, True, True],
        ),
        (change_file, [True, True, False, True]),
    ],
    ids=["margin", "confidence", "a setting of the analysis", "a row", "a file"],
)
def test_only_what_changed_is_analysed(
    first, known, tmp_path, change: Callable[[Study], Study], expected
):
    own = copied(first, tmp_path)
    assert known(change(own.study), own.store) == expected


def test_a_file_of_the_same_size_and_time_is_found_to_be_another(first, known, tmp_path):
    own = copied(first, tmp_path)
    path = own.study.trials[0].wearable
    assert isinstance(path, Path)
    before, content = path.stat(), bytearray(path.read_bytes())
    content[-3] = ord("1") if content[-3] != ord("1") else ord("2")
    path.write_bytes(bytes(content))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    assert known(own.study, own.store) == [False, True, True, True]


def test_the_clock_of_a_second_reference_is_another_key(single, tmp_path):
    """It was missing: other clocks gave the results of the first ones, without a word."""
    folder = shutil.copytree(single, tmp_path / "study")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    before, _, rest = text.partition("[reference]")
    own, _, after = rest.partition("\n[")
    sections = "\n".join(f"[references.{name}]{own}" for name in ("first", "second"))
    text = f"{before}{sections}\n[{after}"
    table = pd.read_csv(folder / "trials.csv", dtype=str)
    for name in ("first", "second"):
        table[f"reference_{name}"] = table["reference"]
    table.drop(columns="reference").to_csv(folder / "trials.csv", index=False)
    keys = []
    for lag_s in (2.17, 2.05):
        clock = f'[references.second.synchronisation]\nmethod = "manual"\nlag_s = {lag_s}\n'
        (folder / "study.toml").write_text(f"{text}\n{clock}", encoding="utf-8")
        study = read_study(folder)
        keys.append(keys_of(study, tmp_path))
        assert study_parameters(study)["references"]["second"]["synchronisation"]["lag_s"] == lag_s
    assert None not in keys[0]
    assert not set(keys[0]) & set(keys[1])


def keys_of(study: Study, folder: Path) -> list[Key | None]:
    steps = Steps(Store(folder / "none"), folder)
    with Workers(1) as workers:
        return list(Recordings(study, folder, (), workers, None, steps)._keys.values())


def test_an_override_of_a_recording_that_is_gone_is_another_key(first, tmp_path):
    """All recordings are refused for it: they were taken from what was kept while it was there."""
    own = copied(first, tmp_path)
    overrides = own.folder / "overrides.csv"
    row = "30.0,exclude,looked odd"
    overrides.write_text(f"time_s,decision,reason,participant\n{row},P01\n{row},P02\n")
    study = own.study.with_(cycles={"overrides": overrides.name})
    alone = replace(study, trials=study.trials[:2])
    assert keys_of(alone, tmp_path)[0] not in keys_of(study, tmp_path)
    same = replace(study, trials=study.trials[:3])
    assert keys_of(same, tmp_path) == keys_of(study, tmp_path)[:3]


def test_a_recording_that_moves_to_another_row_has_the_same_key(first, tmp_path):
    first_, *others = first.study.trials
    moved = [replace(one, row=k) for k, one in enumerate([*others, first_], start=2)]
    there = keys_of(replace(first.study, trials=tuple(moved)), tmp_path)
    assert [there[-1], *there[:-1]] == keys_of(first.study, tmp_path)


def test_what_another_kind_of_machine_found_is_not_kept(first, tmp_path):
    """Its sums may differ in the last bits, which a run without what is kept would not have."""
    store, folder = Store(tmp_path / "kept"), tmp_path / "out"
    of_first = first.store.take(keys_of(first.study, tmp_path)[0])[0]
    study = replace(first.study, trials=first.study.trials[:2])
    there = {**of_first.machine, "instructions": "of another kind"}
    for machine, kept in ((there, 0), (of_first.machine, 2)):
        found = replace(of_first, machine=machine)
        cluster: Any = SimpleNamespace(in_order=lambda *_, found=found: iter([found] * 2))
        folder.mkdir(exist_ok=True)
        with Workers(1) as workers:
            line = Recordings(study, folder, (), workers, cluster, Steps(store, folder))
            list(line.in_order(lambda _: None))
        assert recordings(store) == kept


def test_a_recording_that_is_excluded_is_kept_though_its_file_is_not_there(single, tmp_path):
    """Each rerun loaded what analyses and draws for it."""
    study = read_study(single)
    (trial,) = study.trials
    gone = replace(trial, wearable=study.folder / "gone.csv")
    assert keys_of(replace(study, trials=(gone,)), tmp_path) == [None]
    excluded = replace(gone, exclude="the sensor fell off")
    assert None not in keys_of(replace(study, trials=(excluded,)), tmp_path)


def test_a_recording_whose_sidecars_lie_elsewhere_is_not_kept(single, tmp_path, monkeypatch):
    study = read_study(single)
    assert None not in keys_of(study, tmp_path)
    outside = tmp_path / "task-walk_motion.json"
    monkeypatch.setattr(recordings_of_run, "companion_files", lambda path: (outside,))
    assert set(keys_of(study, tmp_path)) == {None}


def test_what_was_measured_in_a_file_that_was_replaced_in_a_run_is_not_taken(
    single, tmp_path, monkeypatch
):
    folder = shutil.copytree(single, tmp_path / "study")
    study = read_study(folder)
    trial, steps = study.trials[0], Steps(Store(tmp_path / "kept"), tmp_path)
    (key, *_) = keys_of(study, tmp_path)
    recordings_of_run._analysed_again(study, trial, steps, key)
    frame = pd.read_csv(trial.wearable)
    frame.iloc[:, 1:] *= 1.001
    frame.to_csv(trial.wearable, index=False)
    found, _ = recordings_of_run._analysed_again(study, trial, steps, key)
    expected = analyse_trial(study, trial)
    assert repr(found) == repr(expected)
    np.testing.assert_array_equal(found[0].cycles.wearable_deg, expected[0].cycles.wearable_deg)


def test_damaged_entries_are_made_anew(first, tmp_path):
    own = copied(first, tmp_path)
    damaged = {"figures over all: draw_limits", "pooled: limits", "typeset: report.pdf"}
    recording = next(entry for entry in own.store.entries() if entry.is_recording)
    for entry in own.store.entries():
        if entry.name in damaged or entry is recording or entry.path == recording.path:
            body = bytearray(entry.path.read_bytes())
            body[-100] ^= 0xFF
            entry.path.write_bytes(bytes(body))
    done = run(own.study, own.out, own.store)
    assert sorted(one.kept for one in done) == [False, True, True, True]
    assert contents(own.out) == contents(first.out)


def test_a_killed_run_resumes(first, known, tmp_path):
    """The first recording that is done is taken by the next run."""
    kept = tmp_path / "kept"
    env = os.environ | {"TWINANGLE_KEPT": str(kept)}
    command = [sys.executable, "-m", "twinangle", "run", str(first.folder / "study.toml")]
    child = subprocess.Popen(
        [*command, "--quiet", "--out", str(tmp_path / "out")], env=env, start_new_session=True
    )
    deadline = time.monotonic() + 120.0
    while not recordings(Store(kept)) and child.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    child.kill() if not hasattr(signal, "SIGKILL") else os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    n_kept = recordings(Store(kept))
    assert n_kept >= 1
    assert sum(known(first.study, Store(kept))) == n_kept


def analysed(study: Study, folder: Path, store: Store) -> list[str]:
    """Analyse the recordings alone, and return what was told."""
    told: list[str] = []
    with Workers(1) as workers:
        steps = Steps(store, folder, tell=told.append)
        list(Recordings(study, folder, (), workers, None, steps).in_order(told.append))
    return told


def test_where_nothing_can_be_kept_the_run_goes_on_and_says_so(single, tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.write_text("no folder")
    told = analysed(read_study(single), tmp_path, Store(in_the_way))
    assert list((tmp_path / "figures").glob("*_traces.svg"))
    assert sum("nothing is kept for the next run" in text for text in told) == 1


def test_recordings_with_own_procedures_are_not_kept(single, tmp_path, monkeypatch):
    (tmp_path / "of_mine.py").write_text(
        "import numpy as np\n\n\ndef flat(trial):\n"
        "    return np.sin(np.arange(trial.walk.proximal.time_s.size) / 50.0)\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    store = Store(tmp_path / "kept")
    study = read_study(single).with_(procedures=["of_mine:flat"])
    told = analysed(study, tmp_path, store)
    assert recordings(store) == 0
    assert any("own procedures are not kept" in text for text in told)


def test_the_terminal_keeps_shows_clears_and_logs(single, tmp_path, monkeypatch):
    monkeypatch.setenv("TWINANGLE_KEPT", str(tmp_path / "kept"))
    runner, log = CliRunner(), tmp_path / "log.jsonl"
    folder = shutil.copytree(single, tmp_path / "study")
    with (folder / "study.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n[report]\ndocuments = []\n")
    command = ["run", str(folder / "study.toml"), "--log", str(log), "--quiet"]
    for name, further in (("one", []), ("two", []), ("three", ["--fresh"])):
        said = runner.invoke(app, [*command, "--out", str(tmp_path / name), *further])
        assert said.exit_code == 0
        assert said.output == ""
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert [line["kept"] for line in lines] == [False, True, False]
    assert all(line["status"] == {"vqf": "ok"} and line["seconds"] > 0 for line in lines)
    assert {"time", "participant", "reason", "warnings"} <= lines[0].keys()
    loud = [*command[:-1], "--out", str(tmp_path / "two")]
    assert (
        "1 of 1 recording kept from earlier runs; none analysed." in runner.invoke(app, loud).output
    )
    shown = runner.invoke(app, ["cache"]).output
    n = len(Store(tmp_path / "kept").entries())
    assert f"1 recording in 1 entry and {n - 1} parts of the report" in shown
    assert f"{n} removed" in runner.invoke(app, ["cache", "--clear"]).output
    assert "0 recordings" in runner.invoke(app, ["cache"]).output


def test_what_is_told_of_kept_recordings():
    def told(*ones):
        tally = Tally()
        for kept, status in ones:
            tally(SimpleNamespace(kept=kept, results=[SimpleNamespace(status=status)]))
        return tally.told

    many = [(True, "ok")] * 39
    assert told((False, "ok"), (True, "excluded")) == ""
    assert told(*many, (False, "failed"), (True, "excluded")) == (
        "39 of 40 recordings kept from earlier runs; 1 analysed."
    )


def test_a_log_that_cannot_be_written_is_said_before_anything(single, tmp_path):
    out = tmp_path / "out"
    said = CliRunner().invoke(
        app,
        ["run", str(single / "study.toml"), "--out", str(out), "--log", str(tmp_path / "no/log")],
    )
    assert "--log" in str(said.exception)
    assert not out.exists()
