"""Staging inside the output folder: locked, probed, switched in, and swept after a kill."""

from __future__ import annotations

import shutil
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.output_folder.journal import (
    DRAFT,
    RESULTS,
    STAGING,
    UNFINISHED,
    Switch,
    begin,
    complete,
    foreign_files,
    plan_switch,
    settle,
    unfinished,
)
from twinangle.output_folder.places import cannot_write, make_folder, probe, remove_if_empty
from twinangle.platform_calls import locked, undisturbed

LOCK = ".twinangle-lock"
# names that every run writes
OWN = ("report.pdf", "report.html", "supplement.pdf", "results.json", "methods.txt")
Tell = Callable[[str], None]


def warn(text: str) -> None:
    """Tell a note as a warning, for those who call from Python."""
    warnings.warn(text, stacklevel=2)


@contextmanager
def staged(folder: Path, *, tell: Tell = warn) -> Iterator[Path]:
    """Lend a folder to write results into; they replace those in `folder` when all is written.

    Whatever ends the block otherwise leaves `folder` as it was.

    Parameters
    ----------
    folder : Path
        Made when absent. An earlier run's files in it are replaced, other files are left alone.
    tell : callable
        Called with a line on each thing that a run which was stopped had left there.

    Yields
    ------
    Path
        An empty folder inside `folder`.

    Raises
    ------
    StudyError
        If the folder cannot be written (which is tried out first), another run is writing into it,
        or files that no run wrote are in the way.
    """
    made: tuple[Path, ...] = ()
    switched: list[Switch] = []
    try:
        made = make_folder(folder)
        with locked(folder / LOCK) as alone:
            _take_over(folder, tell, alone=alone)
            staging = Path(tempfile.mkdtemp(prefix=STAGING, dir=folder))
            try:
                probe(staging)
                yield staging
                with undisturbed():
                    _switch(staging, folder, switched)
            finally:
                if not switched:
                    shutil.rmtree(staging, ignore_errors=True)
    except TimeoutError:
        raise StudyError(
            f"--out {folder}: another run is writing into it. Wait for it or name another folder."
        ) from None
    except OSError as error:
        raise _told(folder, error, begun=bool(switched)) from error
    except BaseException as error:
        if not isinstance(error, Exception):  # somebody stopped the run
            error.add_note(_left(folder, made=bool(made), switched=bool(switched)))
        raise
    finally:
        remove_if_empty(made)


def _take_over(folder: Path, tell: Tell, *, alone: bool) -> None:
    """Complete and clear away what a run that was stopped left here; refuse what others did."""
    try:
        for text in settle(folder):
            tell(text)
    except StudyError as error:
        switch = unfinished(folder)
        if switch is not None and (folder / switch.staging).is_dir():
            raise
        tell(f"{error} This run does so.")
    foreign = foreign_files(folder, OWN)
    if foreign:
        raise StudyError(
            f"--out {folder}: {foreign[0]} is there already, and no run wrote it. Move it away or "
            "name another folder."
        )
    left = sorted(folder.glob(f"{STAGING}*")) if alone else []
    for stale in left:
        shutil.rmtree(stale, ignore_errors=True)
    (folder / DRAFT).unlink(missing_ok=True)
    if left:
        whole = "the results that stand there are whole"
        there = whole if (folder / RESULTS).exists() else "no results stood there yet"
        tell(
            f"{folder}: the unfinished files of a run that was stopped were cleared away; {there}."
        )


def _switch(staging: Path, folder: Path, switched: list[Switch]) -> None:
    """Replace the old results by the staged ones; note it as soon as it cannot be undone."""
    switch = plan_switch(staging, folder)
    begin(folder, switch)
    switched.append(switch)
    complete(folder, switch, planned_now=True)


def _left(folder: Path, *, made: bool, switched: bool) -> str:
    """Say what a run that was stopped leaves in the folder."""
    if switched:
        return f"the new results are whole in {folder}"
    return f"nothing was written to {folder}" if made else f"{folder} is as it was before"


def _told(folder: Path, error: OSError, *, begun: bool) -> StudyError:
    """Return the message of a write that failed, and what it leaves."""
    if not begun:
        return cannot_write(folder, error)
    return StudyError(
        f"--out {folder}: {error.filename or 'a file'} cannot be replaced ({error.strerror}). The "
        f"new results lie whole in the folder, marked unfinished by {UNFINISHED}: when this is "
        "mended, the next command that names the folder puts them in place."
    )
