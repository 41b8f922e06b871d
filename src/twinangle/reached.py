"""How far recordings that are read in stretches have come, told by the processes that read them.

Each writes a file of its own into the folder of the run, which is removed when it is done.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

ENDING = ".reached"
EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class Reached:
    """Hours of a recording that have been analysed, of about how many."""

    label: str  # of the recording
    done_h: float
    total_h: float


def write_reached(path: Path, reached: Reached) -> None:
    """Write how far a recording has come; nothing else depends on it, so that no fault stops it."""
    half = path.with_name(f"{path.name}.{os.getpid()}")
    with suppress(OSError):
        half.write_text(json.dumps(asdict(reached)), encoding="utf-8")
        half.replace(path)


def read_reached(folder: Path) -> Iterator[Reached]:
    """Yield what the files of a folder say."""
    for path in sorted(folder.glob(f"*{ENDING}")):
        with suppress(OSError, ValueError, TypeError):  # removed or replaced meanwhile
            yield Reached(**json.loads(path.read_text(encoding="utf-8")))


@contextmanager
def watched(folder: Path, on_reached: Callable[[Reached], None] | None) -> Iterator[None]:
    """Tell, every second while the block runs, how far the recordings of a run have come."""
    if on_reached is None:
        yield
        return
    over = threading.Event()

    def look() -> None:
        while not over.wait(EVERY_S):
            for one in read_reached(folder):
                on_reached(one)

    thread = threading.Thread(target=look, name="reached", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
