"""Work side by side in processes, in order, without paying for the imports again where possible."""

from __future__ import annotations

import multiprocessing
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing.context import BaseContext
from types import TracebackType
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


class Workers:
    """Processes that are kept from one task to the next; a context manager.

    They start at the first task, so that they hold whatever had been imported by then.

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
        self._pool = ProcessPoolExecutor(jobs, mp_context=_context()) if jobs > 1 else None

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

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
        """
        if self._pool is None:
            return map(function, items)
        with warnings.catch_warnings():
            # Python 3.12 warns of forking beside threads; the children here use none of them.
            warnings.simplefilter("ignore", DeprecationWarning)
            return self._pool.map(function, items)


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


def _context() -> BaseContext:
    """Return how processes start: forked on Linux, which spares each its seconds of imports."""
    return multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
