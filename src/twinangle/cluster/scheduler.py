"""A dask scheduler that hands recordings to its workers; what none of them can do is done here."""

from __future__ import annotations

import hashlib
import pickle
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from importlib import import_module
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from twinangle.cluster.away import Order, Parcel, Unfit, analyse_away, code_here
from twinangle.errors import StudyError, TwinangleError

Result = TypeVar("Result")
Tell = Callable[[str], None]
Client = Any  # of `distributed`, which is optional and only typed in part
Future = Any

CONNECT_S = 10.0
AHEAD = 4  # recordings under way a worker: none waits, and few results lie about


class Cluster:
    """The workers behind one scheduler; a context manager.

    A worker is asked only where its code, its libraries and the recording's files are the same as
    here, by their hashes; otherwise another worker is, and in the end this process, which is told.
    A worker that dies has its recordings done by others.

    Parameters
    ----------
    address : str
        Of the scheduler, "tcp://HOST:PORT" or "tls://HOST:PORT".
    recordings : str
        Where workers find the study's folder: a folder, or an address that `fsspec` opens. Empty
        for the folder it has here.
    tell : callable
        Called with a line on each worker that could not do what it was asked.

    Raises
    ------
    StudyError
        If `distributed` is not installed, nothing answers at the address, or there is no worker.
    """

    def __init__(self, address: str, *, recordings: str = "", tell: Tell) -> None:
        self._recordings = recordings
        self._tell = tell
        self._told: set[tuple[str, str]] = set()
        self._client = _connected(address)
        if not self._client.scheduler_info(n_workers=-1)["workers"]:
            self._client.close()
            raise StudyError(
                f"the scheduler at {address} has no worker. Start one: dask worker {address} "
                "--nthreads 1"
            )

    def __enter__(self) -> Cluster:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.close()  # what was asked and is not done is forgotten by the scheduler

    def in_order(
        self,
        function: Callable[[Any, Any, Path], Result],
        study: Any,
        trials: Sequence[Any],
        files: Callable[[Any, Any], Sequence[Path]],
        folder: Path,
        own: tuple[str, ...] = (),
    ) -> Iterator[Result]:
        """Yield ``function(study, trial, folder)`` for each trial, in order.

        Parameters
        ----------
        function : callable
            Picklable; writes files below the folder it is given and returns a picklable value.
        study : Study
            Has a `folder` below which the files lie.
        trials : sequence of Trial
            What to work on.
        files : callable
            Returns the files that a trial of a study needs.
        folder : Path
            Where the files that the function writes are put.
        own : tuple of str
            Names of the researcher's own procedures.

        Yields
        ------
        object
            What the function returned, wherever it ran.

        Raises
        ------
        TwinangleError
            If one recording ended several workers in turn.
        """
        waiting: deque[tuple[Any, Order, Future | None]] = deque()
        ahead = AHEAD * max(len(self._client.scheduler_info(n_workers=-1)["workers"]), 1)
        left = iter(trials)
        hashes: dict[Path, str] = {}

        def fill() -> None:
            while len(waiting) < ahead and (trial := next(left, None)) is not None:
                order = Order(
                    work=pickle.dumps((function, study, trial)),
                    code=code_here(own),
                    own=own,
                    folder=study.folder,
                    files=_digests(files(study, trial), study.folder, hashes),
                    address=self._recordings,
                )
                waiting.append((trial, order, self._submit(order, None)))

        fill()
        while waiting:
            trial, order, future = waiting.popleft()
            parcel = self._returned(order, future, ", ".join(trial.identity))
            fill()
            yield function(study, trial, folder) if parcel is None else _unpacked(parcel, folder)

    def _submit(self, order: Order, workers: Sequence[str] | None) -> Future | None:
        """Ask the workers named, any for None; None where the scheduler is gone."""
        try:
            return self._client.submit(analyse_away, order, pure=False, workers=workers)
        except Exception:  # the library has its own kinds of error for that
            return None

    def _returned(self, order: Order, future: Future | None, label: str) -> Parcel | None:
        """Wait for a recording, asking one worker after the other; None where none can."""
        killed = import_module("distributed").KilledWorker
        asked: set[str] = set()
        while future is not None:
            worker = ""
            try:
                found = future.result()
                worker = self._worker_of(future)
            except killed as error:
                raise TwinangleError(
                    f"{label}: {error.allowed_failures + 1} workers of the cluster ended, one "
                    "after the other, while they worked on this recording, most often because "
                    "their memory ran out. Run it here, without --scheduler, or give the workers "
                    "more."
                ) from None
            except CancelledError:
                self._say("the scheduler", "the connection to it was lost")
                return None
            except Exception as error:  # of any kind: a worker may not even have our package
                found = Unfit(f"{type(error).__name__}: {error}")
            if isinstance(found, Parcel):
                return found
            self._say(f"worker {worker}" if worker else "a worker", found.reason)
            asked.add(worker)
            future = self._ask_another(order, asked)
        return None

    def _ask_another(self, order: Order, asked: set[str]) -> Future | None:
        others = [each for each in self._workers() if each not in asked]
        return self._submit(order, others) if others and "" not in asked else None

    def _workers(self) -> list[str]:
        try:
            return sorted(self._client.scheduler_info(n_workers=-1)["workers"])
        except Exception:  # as above
            return []

    def _worker_of(self, future: Future) -> str:
        """Return the address of the worker that holds a result."""
        held = self._client.who_has([future]).get(future.key, ())
        return next(iter(held), "")

    def _say(self, name: str, reason: str) -> None:
        if (name, reason) not in self._told:
            self._told.add((name, reason))
            self._tell(f"{name}: {reason}. Its recordings go to others, or are analysed here.")


def _digests(files: Sequence[Path], folder: Path, known: dict[Path, str]) -> dict[str, str]:
    """Return the SHA-256 of the files that are there, by name below a folder."""
    for path in files:
        if path not in known and path.is_file():
            with path.open("rb") as stream:
                known[path] = hashlib.file_digest(stream, "sha256").hexdigest()
    return {path.relative_to(folder).as_posix(): known[path] for path in files if path in known}


def _unpacked(parcel: Parcel, folder: Path) -> Any:
    """Write the files of a parcel below a folder and return the value."""
    for name, content in parcel.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return parcel.value


def _connected(address: str) -> Client:
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise StudyError(
            "--scheduler needs the package `distributed`, which is not installed here: "
            "pip install 'twinangle[cluster]'."
        ) from None
    connected: Client
    try:
        import_module("distributed.comm").get_address_host_port(address, strict=True)
        connected = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise StudyError(
            f"no scheduler answers at {address!r} ({error}). Accepted: the address that "
            "`dask scheduler` prints, such as tcp://192.0.2.7:8786."
        ) from None
    return connected
