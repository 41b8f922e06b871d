"""Work side by side in processes, in order, without paying for the imports again where possible."""

from __future__ import annotations

import multiprocessing
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing.context import BaseContext
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_order(
    function: Callable[[Item], Result], items: Iterable[Item], *, jobs: int
) -> Iterator[Result]:
    """Yield ``function(item)`` for each item, in order, computed by up to `jobs` processes.

    Parameters
    ----------
    function : callable
        Of one argument; it and the items must be picklable where `jobs` is above 1.
    items : iterable
        What to work on.
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
    if jobs < 1:
        raise ValueError(f"`jobs` must be at least 1, got {jobs}.")
    work = list(items)
    workers = min(jobs, len(work))
    if workers <= 1:
        yield from map(function, work)
        return
    with ProcessPoolExecutor(workers, mp_context=_context()) as pool:
        with warnings.catch_warnings():
            # Python 3.12 warns of forking beside threads; the children here use none of them.
            warnings.simplefilter("ignore", DeprecationWarning)
            results = pool.map(function, work)
        yield from results


def _context() -> BaseContext:
    """Return how processes start: forked on Linux, which spares each its seconds of imports."""
    return multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
