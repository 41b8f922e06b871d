"""Work side by side in processes, in order, without paying for the imports again where possible."""

from __future__ import annotations

import multiprocessing
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from itertools import count
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import TypeVar, cast

from twinangle.errors import TwinangleError
from twinangle.platform_calls import begin_worker, start_method

Item = TypeVar("Item")
Result = TypeVar("Result")
_HELD: dict[int, object] = {}  # what processes that are forked from here hold, by number
_NUMBERS = count()


class Workers:
    """Processes that are kept from one task to the next; a context manager.

    They start at the first task, so that they hold whatever had been imported by then, where the
    system can fork.

    Parameters
    ----------
    jobs : int
        Processes; with 1 everything happens in this process.

    Raises
    ------
    ValueError
        If `jobs` is below 1.
    """

    def __init__(self, jobs: int) -> None:
        if jobs < 1:
            raise ValueError(f"`jobs` must be at least 1, got {jobs}.")
        self.jobs = jobs
        self._pool = self._started()
        self._held: dict[int, int] = {}  # by the identity of a value: its number

    def _started(self) -> ProcessPoolExecutor | None:
        if self.jobs == 1:
            return None
        context = multiprocessing.get_context(start_method())
        return ProcessPoolExecutor(self.jobs, mp_context=context, initializer=begin_worker)

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._let_go()
        if self._pool is None:
            return
        if kind is not None:
            _end(self._pool)
        self._pool.shutdown(cancel_futures=True)

    def renew(self, *values: object) -> None:
        """Have the next task begin in new processes, which hold what was imported meanwhile.

        They hold `values` too, for :meth:`held`. Nothing may be under way. Where processes are not
        forked from this one, nothing is done.
        """
        self._let_go()
        if self._pool is not None and start_method() == "fork":
            self._pool.shutdown()
            self._pool = self._started()
            for value in values:
                number = self._held[id(value)] = next(_NUMBERS)
                _HELD[number] = value

    def held(self, value: Item) -> Item:
        """Return what to send of a value: only its number, where the processes hold it.

        Of large results that saves writing and reading them once a task. The task gets the value.
        """
        number = self._held.get(id(value))
        return value if number is None else cast(Item, _Numbered(number))

    def _let_go(self) -> None:
        for number in self._held.values():
            _HELD.pop(number, None)
        self._held.clear()

    def in_order(
        self, function: Callable[[Item], Result], items: Iterable[Item]
    ) -> Iterator[Result]:
        """Return ``function(item)`` for each item, in order; the work starts at once.

        Parameters
        ----------
        function : callable
            Of one argument; it and the items must be picklable where there are several processes.
        items : iterable
            What to work on.

        Raises
        ------
        TwinangleError
            If the system ended one of the processes.
        """
        if self._pool is None:
            return map(function, items)
        with warnings.catch_warnings():
            # Python 3.12 warns of forking beside threads; the children here use none of them.
            warnings.simplefilter("ignore", DeprecationWarning)
            return _told(self._pool.map(function, items))


class _Numbered:
    """Stands for a value on its way to a process that holds it, and is the value again there."""

    def __init__(self, number: int) -> None:
        self._number = number

    def __reduce__(self) -> tuple[Callable[[int], object], tuple[int]]:
        return _value_held, (self._number,)


def _value_held(number: int) -> object:
    return _HELD[number]


def in_order(
    function: Callable[[Item], Result], items: Iterable[Item], *, jobs: int
) -> Iterator[Result]:
    """Yield ``function(item)`` for each item, in order, computed by up to `jobs` processes.

    Parameters
    ----------
    function, items
        As :meth:`Workers.in_order` takes them.
    jobs : int
        Processes; with 1, or one item, everything happens in this process.

    Yields
    ------
    object
        The results, in the order of the items whatever `jobs` is.

    Raises
    ------
    ValueError
        If `jobs` is below 1.
    """
    work = list(items)
    with Workers(min(jobs, max(len(work), 1))) as workers:
        yield from workers.in_order(function, work)


def _told(results: Iterator[Result]) -> Iterator[Result]:
    """Hand results on; a process that the system ended becomes a message."""
    try:
        yield from results
    except BrokenProcessPool:
        raise TwinangleError(
            "a process that worked beside this one was ended by the system, most often because "
            "the memory ran out. Try again with --jobs 1."
        ) from None


def _end(pool: ProcessPoolExecutor) -> None:
    """End the processes at once: nobody waits for what they work on any more."""
    if sys.version_info >= (3, 14):
        pool.terminate_workers()
        return
    processes: dict[int, BaseProcess] = getattr(pool, "_processes", None) or {}
    for process in list(processes.values()):
        process.terminate()
