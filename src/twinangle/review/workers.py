"""Recordings analysed beside the page: a few at once, those that are waited for first."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

from twinangle.analysis import load_ahead
from twinangle.analysis.instruments import cycles_for
from twinangle.platform_calls import begin_worker, start_method
from twinangle.review.effect import light
from twinangle.review.look import Look, look_at
from twinangle.study import Trial
from twinangle.study.instruments import Part

Rows = Sequence[tuple[Part, Trial]]
MOST = 4  # processes
LOOKS = 4  # recordings whose traces are in memory


class KeptLooks:
    """What was last seen of each recording, with its traces: in files, the last few in memory.

    Parameters
    ----------
    folder : Path
        An empty folder of our own.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._open: OrderedDict[int, Look] = OrderedDict()

    def path(self, number: int) -> Path:
        """Return the file that a recording's look waits in."""
        return self._folder / f"{number}.look"

    def forget(self, number: int) -> None:
        """Let go of a look that is in memory, as where its file is a newer one."""
        self._open.pop(number, None)

    def look(self, number: int) -> Look | None:
        """Return what was last seen of a recording; None before."""
        if number in self._open:
            self._open.move_to_end(number)
            return self._open[number]
        path = self.path(number)
        if not path.exists():
            return None
        with path.open("rb") as stream:
            found = pickle.load(stream)
        if not isinstance(found, Look):
            return None
        self._open[number] = found
        while len(self._open) > LOOKS:
            self._open.popitem(last=False)
        return found


class Analyses:
    """Processes that analyse recordings.

    Parameters
    ----------
    kept : KeptLooks
        Where what they saw waits.
    on_done : callable
        Called with a recording's number and its look without traces, from another thread.
    """

    def __init__(self, kept: KeptLooks, on_done: Callable[[int, Look], None]) -> None:
        self._kept = kept
        self._on_done = on_done
        load_ahead()
        self._jobs = max(1, min(MOST, (os.cpu_count() or 2)))
        self._pool = ProcessPoolExecutor(
            self._jobs,
            mp_context=multiprocessing.get_context(start_method()),
            initializer=begin_worker,
        )
        self._waiting: list[int] = []
        self._asked: dict[int, tuple[int, Rows, int]] = {}
        self._running = 0
        self._lock = threading.RLock()
        self._ended = False

    def ask(self, number: int, rows: Rows, pair: int, *, first: bool = False) -> None:
        """Have a recording analysed; a later request for it takes the place of an earlier one.

        Parameters
        ----------
        number : int
            What is looked at.
        rows : sequence of (Part, Trial)
            The recording as every pair of instruments has it.
        pair : int
            The place of the one that is looked at.
        first : bool
            Before the others that wait.
        """
        with self._lock:
            generation = self._asked[number][0] + 1 if number in self._asked else 0
            self._asked[number] = (generation, rows, pair)
            if number in self._waiting:
                self._waiting.remove(number)
            self._waiting.insert(0 if first else len(self._waiting), number)
            self._feed()

    def hurry(self, number: int) -> None:
        """Take a recording that waits before the others."""
        with self._lock:
            if number in self._waiting:
                self._waiting.remove(number)
                self._waiting.insert(0, number)

    def end(self) -> None:
        """Stop at once; nobody waits any more."""
        with self._lock:
            self._ended = True
            self._waiting.clear()
        processes = list((getattr(self._pool, "_processes", None) or {}).values())
        for process in processes:
            process.terminate()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _feed(self) -> None:
        while self._waiting and self._running < self._jobs and not self._ended:
            number = self._waiting.pop(0)
            generation, rows, pair = self._asked[number]
            self._running += 1
            task = self._pool.submit(_seen, rows, pair, self._kept.path(number))
            task.add_done_callback(partial(self._done, number, generation))

    def _done(self, number: int, generation: int, done: Future[Look]) -> None:
        with self._lock:
            self._running -= 1
            current = self._asked[number][0] == generation and not self._ended
            self._feed()
        if current and not done.cancelled() and done.exception() is None:
            self._on_done(number, done.result())


def _seen(rows: Rows, pair: int, path: Path) -> Look:
    """Look at a recording, keep its traces in a file, and return the rest."""
    part, trial = rows[pair]
    look = look_at(part.study, trial, cycles_for(rows, part))
    fresh = path.with_suffix(".new")
    with fresh.open("wb") as stream:
        pickle.dump(replace(look, results=light(look.results)), stream, pickle.HIGHEST_PROTOCOL)
    fresh.replace(path)
    return replace(
        look,
        results=light(look.results),
        wearable=None,
        reference=None,
        turning=None,
        lags_s=None,
        correlation=None,
    )
