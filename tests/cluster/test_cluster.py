"""Workers of a dask cluster give the bytes of one process, whatever befalls them.

The other side is general-purpose: `distributed`'s own `LocalCluster`, whose workers are processes.
"""

from __future__ import annotations

import os
import pickle
import shutil
import signal
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from twinangle import read_study
from twinangle.analysis import analyse_trial, files_for
from twinangle.cli import app
from twinangle.cluster import Cluster, away, scheduler
from twinangle.cluster.moved import moved
from twinangle.errors import StudyError
from twinangle.run import run_into
from twinangle.simulate import write_demo_study
from twinangle.study import Study

distributed = pytest.importorskip("distributed")
NO_SCHEDULER = "tcp://127.0.0.1:1"


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Two invented people, one of whose recordings cannot be analysed: its reference is cut."""
    path = write_demo_study(tmp_path_factory.mktemp("study"), participants=2, walk_s=14.0)
    first = next(trial for trial in read_study(path).trials if isinstance(trial.reference, Path))
    assert isinstance(first.reference, Path)
    lines = first.reference.read_text().splitlines(keepends=True)
    first.reference.write_text("".join(lines[:40]))
    return read_study(path).with_(procedures=["vqf"])


@pytest.fixture(scope="module")
def alone(study: Study, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("alone") / "results"
    run_into(study, folder, tell=lambda _: None)
    return contents(folder)


@pytest.fixture(scope="module")
def workers() -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=":0", host="127.0.0.1"
    ) as cluster:
        yield cluster


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".twinangle-study.txt"
    }


def run_away(study: Study, folder: Path, address: str, recordings: str = "") -> list[str]:
    told: list[str] = []
    run_into(study, folder, scheduler=address, recordings=recordings, tell=told.append)
    return told


@pytest.mark.nightly
def test_the_files_are_those_of_one_process(study, alone, workers, tmp_path):
    told = run_away(study, tmp_path / "away", workers.scheduler_address)
    assert told == []
    found = contents(tmp_path / "away")
    assert {name for name in alone if found.get(name) != alone[name]} == set()
    assert found.keys() == alone.keys()


def end_first(wanted: Any, marker: Path) -> Any:
    """Wrap the work so that the worker which first takes a recording ends in the midst of it."""

    def work(study: Any, trial: Any, folder: Path) -> Any:
        try:
            marker.touch(exist_ok=False)
        except FileExistsError:
            return wanted(study, trial, folder)
        os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(60)
        raise AssertionError

    return work


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_killed_worker_costs_nothing_but_time(study, workers, tmp_path):
    cloudpickle = pytest.importorskip("cloudpickle")
    marker = tmp_path / "begun"
    told: list[str] = []
    work = end_first(numbers_of, marker)
    original, scheduler.pickle = scheduler.pickle, cloudpickle
    try:
        with Cluster(workers.scheduler_address, tell=told.append) as cluster:
            found = list(cluster.in_order(work, study, study.trials, files_for, tmp_path / "out"))
    finally:
        scheduler.pickle = original
    assert marker.exists()
    assert found == [numbers_of(study, trial, tmp_path) for trial in study.trials]
    assert told == []


def numbers_of(study: Study, trial: Any, folder: Path) -> list[str]:
    """Return what was found of a recording, as text."""
    return [f"{each.status} {each.reason} {each.agreement}" for each in analyse_trial(study, trial)]


def test_a_worker_says_which_file_it_lacks_or_has_in_another_form(study, tmp_path):
    pair = {name: tmp_path / name for name in ("lacks", "other")}
    for folder in pair.values():
        shutil.copytree(study.folder, folder)
    missing = study.trials[1].wearable
    relative = missing.relative_to(study.folder) if isinstance(missing, Path) else None
    assert relative is not None
    (pair["lacks"] / relative).unlink()
    with (pair["other"] / relative).open("a") as stream:
        stream.write("\n")
    told: list[str] = []
    for name, folder in pair.items():
        order = away.Order(
            work=b"",
            code=away.code_here(),
            own=(),
            folder=study.folder,
            files=scheduler._digests(files_for(study, study.trials[1]), study.folder, {}),
            address=str(folder),
        )
        found = away.analyse_away(order)
        assert isinstance(found, away.Unfit)
        told.append(found.reason)
        assert relative.as_posix() in found.reason, name
    assert told[0].startswith("no ")
    assert told[1].startswith("another ")


def test_a_file_that_is_replaced_while_it_is_analysed_is_said(study, tmp_path):
    place = tmp_path / "study"
    shutil.copytree(study.folder, place)
    order = away.Order(
        work=pickle.dumps((replace_file, study, study.trials[1])),
        code=away.code_here(),
        own=(),
        folder=study.folder,
        files=scheduler._digests(files_for(study, study.trials[1]), study.folder, {}),
        address=str(place),
    )
    found = away.analyse_away(order)
    assert isinstance(found, away.Unfit)
    assert found.reason.startswith("another ")


def replace_file(study: Study, trial: Any, folder: Path) -> None:
    with trial.wearable.open("a") as stream:
        stream.write("\n")


def test_what_no_worker_can_do_is_done_here(study, workers, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    shutil.copytree(study.folder, elsewhere)
    missing = study.trials[1].wearable
    assert isinstance(missing, Path)
    (elsewhere / missing.relative_to(study.folder)).unlink()
    told: list[str] = []
    address = workers.scheduler_address
    with Cluster(address, recordings=str(elsewhere), tell=told.append) as cluster:
        found = list(cluster.in_order(numbers_of, study, study.trials, files_for, tmp_path))
    assert found == [numbers_of(study, trial, tmp_path) for trial in study.trials]
    assert len(told) == 2, told
    assert all(missing.name in line and "tcp://127.0.0.1" in line for line in told)


def named(_: Study, trial: Any, __: Path) -> str:
    return str(trial.label)


def lost(*_: object, **__: object) -> None:
    raise CancelledError


def out_of_memory(*_: object, **__: object) -> None:
    raise MemoryError


@pytest.mark.parametrize(
    ("fault", "said"), [(lost, "the connection to it was lost"), (out_of_memory, "MemoryError")]
)
def test_where_the_cluster_fails_recordings_are_analysed_here(study, fault, said):
    """As a scheduler that ends in the midst of a run, whose results `distributed` then cancels."""
    told: list[str] = []
    cluster = object.__new__(Cluster)
    cluster._recordings, cluster._tell, cluster._told = "", told.append, set()
    cluster._client = SimpleNamespace(
        scheduler_info=lambda **_: {"workers": {}},
        submit=lambda *_, **__: SimpleNamespace(result=fault),
    )
    work = cluster.in_order(named, study, study.trials, files_for, Path())
    assert list(work) == [trial.label for trial in study.trials]
    assert len(told) == 1
    assert said in told[0]


def test_recordings_are_fetched_from_an_address(study, workers, tmp_path):
    address = study.folder.resolve().as_uri()
    with Cluster(workers.scheduler_address, recordings=address, tell=pytest.fail) as cluster:
        found = list(cluster.in_order(numbers_of, study, study.trials, files_for, tmp_path))
    assert found == [numbers_of(study, trial, tmp_path) for trial in study.trials]


@pytest.mark.parametrize("what", ["twinangle", "numpy"])
def test_a_worker_with_other_code_is_not_trusted(study, what):
    order = away.Order(
        work=b"never taken apart",
        code={**away.code_here(), what: "0.0.0"},
        own=(),
        folder=study.folder,
        files={},
    )
    found = away.analyse_away(order)
    assert isinstance(found, away.Unfit)
    assert what in found.reason
    assert "0.0.0" in found.reason


def test_nothing_at_the_address_is_said_at_once(study, tmp_path, monkeypatch):
    monkeypatch.setattr(scheduler, "CONNECT_S", 0.5)
    out = tmp_path / "results"
    said = CliRunner().invoke(
        app, ["run", str(study.path), "--out", str(out), "--scheduler", NO_SCHEDULER]
    )
    assert isinstance(said.exception, StudyError)
    assert NO_SCHEDULER in str(said.exception)
    assert not out.exists()


def test_an_address_of_recordings_needs_a_scheduler(study, tmp_path):
    said = CliRunner().invoke(
        app, ["run", str(study.path), "--out", str(tmp_path / "r"), "--recordings", "s3://a"]
    )
    assert said.exit_code == 2
    assert "--scheduler" in said.output


def test_a_study_moved_there_and_back_is_the_same(study):
    there = moved(study, study.folder, Path("elsewhere"))
    assert there.folder == Path("elsewhere")
    assert there.trials[0].wearable == Path("elsewhere") / study.trials[0].wearable.relative_to(
        study.folder
    )
    assert moved(there, Path("elsewhere"), study.folder) == study
