"""What differs between systems stands in one module, and what one lacks is in nobody's way."""

from __future__ import annotations

import ast
import operator
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import twinangle
from twinangle import parallel, platform_calls
from twinangle.platform_calls import Stopped, limit_process, locked, stop_on_signals, undisturbed

ROOT = Path(twinangle.__file__).parent
ASKING = {"resource", "fcntl", "msvcrt", "signal", "ctypes", "pwd", "termios", "winreg"}
SYSTEM = {"sys.platform", "os.name", "os.fork", "os.kill", "os.getuid", "os.uname"}


def test_no_other_module_asks_which_system_it_runs_on():
    found = []
    for path in ROOT.rglob("*.py"):
        if path.name == "platform_calls.py":
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            )  # fmt: skip
            found += [f"{path.name}: {name}" for name in names if name in ASKING]
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                asked = f"{node.value.id}.{node.attr}"
                found += [f"{path.name}: {asked}"] if asked in SYSTEM else []
    assert found == []


def test_a_system_without_limits_is_left_as_it_is(monkeypatch):
    monkeypatch.setitem(sys.modules, "resource", None)  # as on Windows
    limit_process(1, 1)
    assert len(bytearray(1 << 20)) == 1 << 20


def test_processes_that_start_anew_do_the_same_work(monkeypatch):
    """As on macOS and Windows, where none is forked."""
    monkeypatch.setattr(parallel, "start_method", lambda: "spawn")
    with parallel.Workers(2) as workers:
        assert list(workers.in_order(operator.neg, range(4))) == [0, -1, -2, -3]


def test_a_worker_that_the_system_ends_is_told():
    with (
        pytest.raises(twinangle.TwinangleError, match=r"ended by the system.*--jobs 1"),
        parallel.Workers(2) as workers,
    ):
        list(workers.in_order(signal.raise_signal, [signal.SIGTERM]))


def test_a_limit_of_memory_holds():
    if not Path("/proc/self/statm").exists():
        pytest.skip("this system does not tell what memory is in use")
    code = (
        "from twinangle.platform_calls import limit_process; limit_process(1 << 27, 60); "
        "bytearray(1 << 28)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert b"MemoryError" in done.stderr


@pytest.fixture
def handlers():
    before = {number: signal.getsignal(number) for number in platform_calls._STOPPING}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
def test_a_signal_stops_once_and_the_clearing_up_is_not_broken_off(handlers, name):
    number = getattr(signal, name)
    stop_on_signals()
    with pytest.raises(Stopped) as stopped:
        signal.raise_signal(number)
    signal.raise_signal(number)  # an impatient second time
    assert stopped.value.status == 128 + number


def test_a_signal_waits_for_what_takes_milliseconds(handlers):
    stop_on_signals()
    done = []
    with pytest.raises(Stopped), undisturbed():  # noqa: PT012 - what comes after it must come
        signal.raise_signal(signal.SIGTERM)
        done.append("the rest")
    assert done == ["the rest"]


def test_outside_the_main_thread_signals_are_left_alone():
    done = []

    def work():
        with undisturbed():
            done.append(True)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [True]


def test_a_lock_is_held_by_one_and_leaves_nothing(tmp_path):
    path = tmp_path / "lock"
    with locked(path) as held:
        assert held
        with pytest.raises(TimeoutError), locked(path, wait_s=0.05):
            pytest.fail("held twice")
    assert not path.exists()


def test_a_file_system_without_locks_is_no_obstacle(tmp_path, monkeypatch):
    import filelock

    def refuse(self, *_, **__):
        raise NotImplementedError

    monkeypatch.setattr(filelock.FileLock, "acquire", refuse)
    with locked(tmp_path / "lock") as held:
        assert not held
