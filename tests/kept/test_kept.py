"""What is kept from one run to the next gives the same bytes, and no more than has not changed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twinangle import read_study
from twinangle.cli import app
from twinangle.code_identity import our_code
from twinangle.kept import Key, Store, key_of
from twinangle.kept.store_lines import kept_lines
from twinangle.recordings_of_run import RecordingDone
from twinangle.run import run_into
from twinangle.simulate import write_demo_study
from twinangle.study import Study

KEY = Key("a" * 64, "b" * 64, "c" * 64, "d" * 64)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = write_demo_study(tmp_path_factory.mktemp("study"), participants=2, walk_s=14.0)
    text = path.read_text(encoding="utf-8")
    found = 'procedures = ["kalman-two-sensors", "kalman-forward"]'
    assert found in text
    path.write_text(text.replace(found, 'procedures = ["vqf"]'), encoding="utf-8")
    return path.parent


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A store into which each test's first run may have put the same recordings."""
    return Store(tmp_path_factory.mktemp("kept"))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".twinangle-study.txt"
    }


def run(study: Study, out: Path, kept: Store | None, *, jobs: int = 1) -> list[RecordingDone]:
    done: list[RecordingDone] = []
    run_into(study, out, jobs=jobs, kept=kept, on_record=done.append, tell=lambda _: None)
    return done


def taken(done: list[RecordingDone]) -> list[bool]:
    return [one.kept for one in done]


def test_the_bytes_are_the_same_with_and_without(folder, store, tmp_path):
    study = read_study(folder)
    run(study, tmp_path / "first", store)
    again = run(study, tmp_path / "again", store, jobs=2)
    run(study, tmp_path / "without", None)
    assert taken(again) == [True] * 4
    expected = contents(tmp_path / "without")
    assert contents(tmp_path / "again") == expected
    assert contents(tmp_path / "first") == expected


def test_a_changed_margin_analyses_nothing_and_is_in_the_results(folder, store, tmp_path):
    run(read_study(folder), tmp_path / "first", store)
    other = read_study(folder).with_(acceptable_deg=3.0)
    done = run(other, tmp_path / "other", store)
    run(other, tmp_path / "without", None)
    assert taken(done) == [True] * 4
    assert contents(tmp_path / "other") == contents(tmp_path / "without")


def change_file(study: Study) -> Study:
    path = study.trials[2].wearable
    assert isinstance(path, Path)
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:-5]))  # the last samples, long after the walk
    return study


@pytest.mark.parametrize(
    ("change", "expected"),
    [
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
    ids=["confidence", "a setting of the analysis", "a row", "a file"],
)
def test_only_what_changed_is_analysed(
    folder, store, tmp_path, change: Callable[[Study], Study], expected
):
    study = read_study(folder)
    run(study, tmp_path / "first", store)
    assert taken(run(change(study), tmp_path / "other", store)) == expected


def test_other_code_and_other_settings_have_other_keys(folder):
    study = read_study(folder)
    files = [path for path in (study.trials[0].wearable,) if isinstance(path, Path)]
    how = {"settings": {"a": {"b": 1}}, "row": study.trials[0], "files": files, "drawing": []}
    keys = [
        key_of(code=code, folder=study.folder, **(how | change))
        for code, change in (
            (our_code(), {}),
            (our_code() | {"numpy": "0"}, {}),
            (our_code(), {"settings": {"a": {"b": 2}}}),
            (our_code(), {"row": study.trials[1]}),
            (our_code(), {"drawing": ["png"]}),
        )
    ]
    assert None not in keys
    assert len({key.name for key in keys if key is not None}) == 5
    assert key_of(code=our_code(), folder=study.folder, **(how | {"files": [Path("no")]})) is None
    assert key_of(code=our_code(), folder=study.folder, **(how | {"row": object()})) is None


def test_a_damaged_entry_is_analysed_anew(folder, store, tmp_path):
    study = read_study(folder)
    run(study, tmp_path / "first", store)
    path = store.entries()[0].path
    body = bytearray(path.read_bytes())
    body[-100] ^= 0xFF
    path.write_bytes(bytes(body))
    done = run(study, tmp_path / "again", store)
    assert sorted(taken(done)) == [False, True, True, True]
    assert contents(tmp_path / "again") == contents(tmp_path / "first")


@pytest.mark.parametrize("content", [b"", b"\n", b"{}\nabc", b"no json\n", b"[1]\n"])
def test_an_entry_that_is_none_is_nothing(tmp_path, content):
    store = Store(tmp_path)
    store.put(KEY, {"a": 1}, study="s", recording="r")
    path = store.entries()[0].path
    path.write_bytes(content)
    assert store.take(KEY) is None
    assert not path.exists()


def test_the_least_recently_used_goes_first(tmp_path):
    store = Store(tmp_path, limit_mb=2.5 / 1024)
    keys = [replace(KEY, files=f"{k}" * 64) for k in range(4)]
    for k, key in enumerate(keys):
        store.put(key, os.urandom(700), study="s", recording=str(k))
        os.utime(store._path(key), (1000.0 + k, 1000.0 + k))
    assert store.take(keys[0]) is not None  # used now
    store.trim()
    assert [store.has(key) for key in keys] == [True, False, False, True]


def test_writers_at_the_same_time_leave_a_whole_entry(tmp_path):
    store = Store(tmp_path)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda k: store.put(KEY, [k] * 50_000, study="s", recording="r"),
                              range(24)))  # fmt: skip
    assert found == [""] * 24
    value = store.take(KEY)
    assert value == [value[0]] * 50_000
    assert [path.suffix for path in tmp_path.rglob("*") if path.is_file()] == [".kept"]


def test_where_nothing_can_be_kept_the_run_goes_on_and_says_so(folder, tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.write_text("no folder")
    told: list[str] = []
    run_into(read_study(folder), tmp_path / "out", kept=Store(in_the_way), tell=told.append)
    assert (tmp_path / "out/results.json").is_file()
    assert sum("nothing is kept for the next run" in text for text in told) == 1


def test_a_killed_run_resumes(folder, tmp_path):
    """The first recording that is done is taken by the next run."""
    kept, log = tmp_path / "kept", tmp_path / "log.jsonl"
    env = os.environ | {"TWINANGLE_KEPT": str(kept)}
    command = [sys.executable, "-m", "twinangle", "run", str(folder / "study.toml"), "--quiet"]
    child = subprocess.Popen(
        [*command, "--out", str(tmp_path / "out"), "--log", str(log)],
        env=env, start_new_session=True,
    )  # fmt: skip
    deadline = time.monotonic() + 120.0
    while not Store(kept).entries() and child.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    child.kill() if not hasattr(signal, "SIGKILL") else os.killpg(child.pid, signal.SIGKILL)
    child.wait()
    n_kept = len(Store(kept).entries())
    assert n_kept >= 1
    done = run(read_study(folder), tmp_path / "again", Store(kept))
    assert sum(taken(done)) == n_kept


def test_recordings_with_own_procedures_are_not_kept(folder, store, tmp_path, monkeypatch):
    (tmp_path / "of_mine.py").write_text(
        "import numpy as np\n\n\ndef flat(trial):\n"
        "    return np.sin(np.arange(trial.walk.proximal.time_s.size) / 50.0)\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    before = len(store.entries())
    told: list[str] = []
    study = read_study(folder).with_(procedures=["of_mine:flat"])
    run_into(study, tmp_path / "out", kept=store, tell=told.append)
    assert len(store.entries()) == before
    assert any("own procedures are not kept" in text for text in told)


def test_the_terminal_keeps_shows_clears_and_logs(folder, tmp_path, monkeypatch):
    monkeypatch.setenv("TWINANGLE_KEPT", str(tmp_path / "kept"))
    runner, log = CliRunner(), tmp_path / "log.jsonl"
    command = ["run", str(folder / "study.toml"), "--log", str(log), "--quiet"]
    for name in ("one", "two"):
        said = runner.invoke(app, [*command, "--out", str(tmp_path / name)])
        assert said.exit_code == 0
        assert said.output == ""
    fresh = runner.invoke(app, [*command, "--out", str(tmp_path / "three"), "--fresh"])
    assert fresh.exit_code == 0
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert [line["kept"] for line in lines] == [False] * 4 + [True] * 4 + [False] * 4
    assert all(line["status"] == {"vqf": "ok"} and line["seconds"] > 0 for line in lines)
    assert {"time", "participant", "reason", "warnings"} <= lines[0].keys()
    shown = runner.invoke(app, ["cache"]).output
    assert "4 recordings in 4 entries" in shown
    assert "4 removed" in runner.invoke(app, ["cache", "--clear"]).output
    assert "0 recordings" in runner.invoke(app, ["cache"]).output


def test_a_log_that_cannot_be_written_is_said_before_anything(folder, tmp_path):
    out = tmp_path / "out"
    said = CliRunner().invoke(
        app,
        ["run", str(folder / "study.toml"), "--out", str(out), "--log", str(tmp_path / "no/log")],
    )
    assert "--log" in str(said.exception)
    assert not out.exists()


def test_what_differs_between_entries_of_one_recording_is_named(tmp_path):
    store = Store(tmp_path)
    store.put(KEY, 1, study="Path", recording="P01 indoor")
    store.put(replace(KEY, settings="e" * 64), 2, study="Path", recording="P01 indoor")
    assert any("2 times, of other settings" in line for line in kept_lines(store))
