"""How a command speaks: a message that cannot steer the terminal, and a bar of progress."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, TextIO

from twinangle.visible import make_visible

if TYPE_CHECKING:
    from rich.progress import Progress


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
    )
