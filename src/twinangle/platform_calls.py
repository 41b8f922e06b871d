"""What differs between operating systems, in one place: limits, signals, locks, folders, processes.

Nothing else in the package asks which system it runs on. What a system cannot do is left out here,
so that it stands in nobody's way. Only the standard library is imported at the top: the small child
processes that read doubtful files import this module too.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import socket

LOCK_WAIT_S = 5.0  # longer than the processes of a killed run live on
PARENT_LOOK_S = 0.5  # between two looks at whether the parent still lives
_PR_SET_PDEATHSIG = 1  # from linux/prctl.h
# Asking to end: by the keyboard, by another process, by closing the terminal (POSIX, Windows).
_STOPPING = tuple(
    number
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    if (number := getattr(signal, name, None)) is not None
)


class Stopped(BaseException):
    """Somebody asked the program to end; its notes say what that leaves behind."""

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.status = 128 + number  # as a shell gives it


def stop_on_signals() -> None:
    """Have every signal that asks the program to end raise :class:`Stopped`, once.

    Those that come after the first are not heard, so that they cannot break off the clearing up.
    A signal that was to be ignored (`nohup`) stays so.
    """

    def stop(number: int, _: FrameType | None) -> None:
        for each in _STOPPING:
            signal.signal(each, signal.SIG_IGN)
        raise Stopped(number)

    for number in _STOPPING:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, stop)


@contextmanager
def undisturbed() -> Iterator[None]:
    """Put signals that ask to end off until the block is done; for what takes milliseconds."""
    if threading.current_thread() is not threading.main_thread():
        yield  # signals reach the main thread alone
        return
    waiting: list[int] = []
    before = {
        number: signal.signal(number, lambda which, _: waiting.append(which))
        for number in _STOPPING
        if callable(signal.getsignal(number)) or signal.getsignal(number) is signal.SIG_DFL
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if waiting:
            signal.raise_signal(waiting[0])


def begin_worker() -> None:
    """Make this process a worker: its parent alone hears the keyboard, and it ends with it."""
    for number in _STOPPING:
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    end_with_parent()


def end_with_parent() -> None:
    """Have this process end as soon as its parent has ended, however that came about.

    Linux tells it; elsewhere, and beside it, a thread looks: processes that Python's own
    `multiprocessing` started wait for their parent, others watch their parent's id, which Windows
    does not change. There such a process lives until its work is done.
    """
    from multiprocessing import parent_process

    before = os.getppid()
    if sys.platform == "linux":
        _ask_linux_to_end_this()
    parent = parent_process()

    def wait() -> None:
        if parent is not None:
            parent.join()
        else:
            while os.getppid() == before:
                time.sleep(PARENT_LOOK_S)
        os._exit(1)

    threading.Thread(target=wait, name="watch of the parent", daemon=True).start()


def _ask_linux_to_end_this() -> None:
    """Have the kernel kill this process when its parent dies: long compiled loops stop too."""
    import ctypes

    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0)


def start_method() -> str:
    """Return how processes start: forked on Linux, which spares each its seconds of imports."""
    return "fork" if sys.platform == "linux" else "spawn"


def limit_process(n_bytes: int, seconds: int) -> None:
    """Allow this process so much more memory, and so much processor time, where the system can.

    Parameters
    ----------
    n_bytes : int
        Bytes of address space beyond those in use; on Linux alone, where they can be asked for.
    seconds : int
        Seconds of the processor, all in all.
    """
    try:
        import resource
    except ImportError:  # Windows
        return
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, resource.RLIM_INFINITY))
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        most = pages * resource.getpagesize() + n_bytes
        resource.setrlimit(resource.RLIMIT_AS, (most, resource.RLIM_INFINITY))


@contextmanager
def locked(path: Path, *, wait_s: float = LOCK_WAIT_S) -> Iterator[bool]:
    """Hold a lock that the system itself lets go of when this process ends.

    Parameters
    ----------
    path : Path
        The lock's file, which is there only while the lock is held.
    wait_s : float
        Seconds to wait for another process that holds it.

    Yields
    ------
    bool
        Whether the lock is held; False where the file system knows no locks.

    Raises
    ------
    TimeoutError
        If another process holds it.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(str(path), timeout=wait_s)
    try:
        lock.acquire()
    except Timeout:
        raise TimeoutError(f"{path} is held by another process") from None
    except NotImplementedError:
        yield False
        return
    try:
        yield True
    finally:
        # Those that wait for the file look, when they have it, whether it is still there.
        with suppress(OSError):  # Windows, where letting go removes it
            path.unlink()
        lock.release()


def store_names(folder: Path) -> None:
    """Bring the names of a folder's files to the disk, where the system lets a folder be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def free_again_at_once(listening: socket.socket) -> None:
    """Let the port be listened to anew as soon as this program has ended.

    On Windows the same option would let another program listen beside this one: nothing is done.
    """
    if os.name == "posix":
        import socket  # which no other command needs

        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)


def user_cache() -> Path:
    """Return the folder where the system wants a user's caches."""
    from platformdirs import user_cache_path

    return user_cache_path()
