"""Killed at every single step on the file system, a folder holds old or new results, or says so."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import time
from pathlib import Path

import pytest

from twinangle.output_folder import UNFINISHED, settle, staged
from twinangle.parallel import Workers
from twinangle.platform_calls import Stopped, stop_on_signals

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "fork"), reason="this system does not fork"),
    pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning"),
]

SAME = {"methods.txt": "same", "tables/same.csv": "same"}
OLD = {"report.pdf": "old", "figures/a.pdf": "old", "results.json": "{}", **SAME}
NEW = {"report.pdf": "new", "figures/b.pdf": "new", "results.json": "[]", "tables/t.csv": "new"}
NEW |= SAME
STEPS = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "open", "shutil.rmtree"}


def write(folder: Path, files: dict[str, str]) -> None:
    with staged(folder, tell=lambda text: None) as staging:
        for name, text in files.items():
            (staging / name).parent.mkdir(exist_ok=True)
            (staging / name).write_text(text)


def seen(folder: Path) -> dict[str, str]:
    """Return what a reader of the folder sees: its files, but for hidden ones."""
    return {
        path.relative_to(folder).as_posix(): path.read_text()
        for path in folder.rglob("*")
        if path.is_file() and ".twinangle" not in path.relative_to(folder).as_posix()
    }


def in_child(work, step: int, number: int) -> int:
    """Do work in a child process that gets a signal before its step of that number."""
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    try:
        left = [step]

        def hook(event, _):
            if event in STEPS:
                left[0] -= 1
                if left[0] == -1:
                    os.kill(os.getpid(), number)

        stop_on_signals()
        sys.addaudithook(hook)
        work()
        os._exit(0)
    except Stopped as stopped:
        os._exit(stopped.status)
    finally:
        os._exit(99)


def ends_of(tmp_path: Path, work, number: int):
    """Yield the folder after each kill, until the work comes to its end unharmed."""
    for step in range(200):
        folder = tmp_path / f"{step}"
        write(folder, OLD)
        (folder / "mine.txt").write_text("somebody's own")
        status = in_child(lambda folder=folder: work(folder), step, number)
        assert status in (0, -number, 128 + number)
        assert (folder / "mine.txt").read_text() == "somebody's own"
        (folder / "mine.txt").unlink()
        yield folder
        if status == 0:
            assert step > 12
            return
    pytest.fail("never came to its end")


@pytest.mark.parametrize(
    "number",
    [
        signal.SIGKILL,
        pytest.param(signal.SIGINT, marks=pytest.mark.nightly),
        pytest.param(signal.SIGTERM, marks=pytest.mark.nightly),
    ],
)
def test_old_or_new_or_told_after_a_kill_at_every_step(tmp_path, number):
    states = []
    for folder in ends_of(tmp_path, lambda folder: write(folder, NEW), number):
        found = seen(folder)
        states.append("told" if UNFINISHED in found else "old" if found == OLD else "new")
        assert UNFINISHED in found or found in (OLD, NEW)
        told = settle(folder)
        assert bool(told) == (states[-1] == "told")
        assert seen(folder) == (NEW if told else found)
        write(folder, OLD)  # and whatever was left behind does not outlive the next run
        assert {p.name for p in folder.iterdir() if p.name.startswith(".")} == {
            ".twinangle-outputs.json"
        }
    assert {"old", "new"} <= set(states)
    assert ("told" in states) == (number == signal.SIGKILL)  # the others wait for milliseconds


@pytest.mark.nightly
def test_completing_can_itself_be_killed_at_every_step(tmp_path):
    broken = None
    for folder in ends_of(tmp_path / "a", lambda folder: write(folder, NEW), signal.SIGKILL):
        if UNFINISHED in seen(folder) and "old" in seen(folder).values():
            broken = folder
            break
    assert broken is not None
    for step in range(200):
        folder = tmp_path / f"{step}"
        shutil.copytree(broken, folder)
        status = in_child(lambda folder=folder: settle(folder), step, signal.SIGKILL)
        settle(folder)
        assert seen(folder) == NEW
        if status == 0:
            return
    pytest.fail("never came to its end")


def sleep(_: object) -> None:
    time.sleep(60)


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="this system has no /proc")
@pytest.mark.parametrize(
    "number",
    [
        signal.SIGKILL,
        pytest.param(signal.SIGINT, marks=pytest.mark.nightly),
        pytest.param(signal.SIGTERM, marks=pytest.mark.nightly),
    ],
)
def test_workers_end_with_their_parent(number):
    read, written = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            stop_on_signals()
            with Workers(2) as workers:
                results = workers.in_order(sleep, range(2))
                pids = Path(f"/proc/self/task/{os.getpid()}/children").read_text()
                os.write(written, pids.encode())
                list(results)
        finally:
            os._exit(1)
    workers = [int(each) for each in os.read(read, 1000).split()]
    assert len(workers) == 2
    assert all(alive(each) for each in workers)
    time.sleep(0.3)  # until they have told the system what they wait for
    os.kill(pid, number)
    os.waitpid(pid, 0)
    ended = time.monotonic()
    while any(alive(each) for each in workers) and time.monotonic() < ended + 2:
        time.sleep(0.05)
    assert not [each for each in workers if alive(each)]
