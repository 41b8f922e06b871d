"""How a command speaks: a message that cannot steer the terminal, and a bar of progress."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING, TextIO

from twinangle.visible import make_visible

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

    from twinangle.reached import Reached

SPEED_OVER_S = 900.0  # a stretch of a long recording may take minutes


def say(text: str, file: TextIO | None = None) -> None:
    """Print a message; characters that would steer the terminal are shown as their codes."""
    print(make_visible(text, keep="\n\t"), file=file or sys.stdout, flush=True)


def progress_bar() -> Progress:
    """Return a bar on standard error that counts trials."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        # A notebook asks every command for colours; a bar that redraws itself would fill its cell.
        console=Console(stderr=True, force_terminal=sys.stderr.isatty()),
        speed_estimate_period=SPEED_OVER_S,
    )


class LongRecordings:
    """A bar each for recordings that are read in stretches: hours done, and the time left."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._tasks: dict[str, TaskID] = {}

    def reached(self, one: Reached) -> None:
        """Show how far a recording has come."""
        total = one.total_h if math.isfinite(one.total_h) else None
        if one.label not in self._tasks:
            name = make_visible(f"  hours of {one.label}").replace("[", "\\[")
            self._tasks[one.label] = self._progress.add_task(name, total=None)
        hours = None if total is None else max(math.ceil(total), 1)
        self._progress.update(
            self._tasks[one.label], total=hours, completed=min(one.done_h, hours or one.done_h)
        )

    def done(self, label: str) -> None:
        """Take away the bar of a recording that is done."""
        task = self._tasks.pop(label, None)
        if task is not None:
            self._progress.remove_task(task)
