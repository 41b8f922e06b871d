"""Where results may be written: what is refused before anything is computed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.output_folder.journal import STAGING
from twinangle.platform_calls import undisturbed

PROBE_BYTES = 1 << 20
PROBE_NAME = "x" * 200 + ".probe"  # as long as a figure's name may get


def check_output_folder(folder: Path, *, study_folder: Path, inputs: Iterable[Path]) -> None:
    """Refuse an output folder that is, or holds, the inputs, or that is no folder.

    Raises
    ------
    StudyError
        If `folder` is the study's folder, contains it or one of the input files, exists and is
        not a folder, lies beneath a file, or has a name that the system does not take.
    """
    try:
        target = folder.resolve()
        above = next(each for each in (target, *target.parents) if each.exists())
    except (OSError, RuntimeError, ValueError) as error:  # too long; links in a circle; a null
        raise cannot_write(folder, error) from error
    if above == target and not target.is_dir():
        raise StudyError(f"--out {folder}: this is a file; name a folder.")
    if not above.is_dir():
        raise StudyError(f"--out {folder}: {above} is a file, and no folder can lie beneath it.")
    home = study_folder.resolve()
    if home == target or home.is_relative_to(target):
        raise StudyError(
            f"--out {folder}: this folder holds the study itself. Name another folder, for "
            f"example {folder / 'results'}."
        )
    for path in inputs:
        if path.resolve().is_relative_to(target):
            raise StudyError(
                f"--out {folder}: the input file {path.name} lies in it. Name a folder without "
                "input files."
            )


def cannot_write(folder: Path, error: Exception) -> StudyError:
    """Return the message that a folder cannot be written, with the system's words."""
    reason = getattr(error, "strerror", None) or str(error)
    return StudyError(f"--out {folder}: cannot be written ({reason}).")


def make_folder(folder: Path) -> tuple[Path, ...]:
    """Make a folder and those above it; return those that were not there, the lowest first."""
    missing = []
    for each in (folder, *folder.parents):
        if each.exists():
            break
        missing.append(each)
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(missing)


def remove_if_empty(folders: Iterable[Path]) -> None:
    """Remove folders that hold nothing, the lowest first; stop at the first that does."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return


def holds_files(folder: Path) -> bool:
    """Return whether a folder holds anything but what a killed command had staged."""
    return any(not path.name.startswith(STAGING) for path in folder.iterdir())


@contextmanager
def staged_items(
    folder: Path, *, last: tuple[str, ...], first: tuple[str, ...] = ()
) -> Iterator[Path]:
    """Lend a folder inside `folder`; what lies in it is moved in, item by item, when all is there.

    Parameters
    ----------
    folder : Path
        Made when absent. Whole folders in it are replaced by those of the same name.
    last : tuple of str
        Files that make the rest usable, so that a kill in the midst of it leaves no such thing.
    first : tuple of str
        Files that tell whose folder it is.

    Yields
    ------
    Path
        An empty folder.

    Raises
    ------
    OSError
        If the folder cannot be written, which is tried out first.
    """
    made = make_folder(folder)
    for stale in folder.glob(f"{STAGING}*"):
        shutil.rmtree(stale, ignore_errors=True)
    staging = Path(tempfile.mkdtemp(prefix=STAGING, dir=folder))
    try:
        probe(staging)
        yield staging
        between = {path.name for path in staging.iterdir()} - {*first, *last}
        with undisturbed():
            for name in last:
                (folder / name).unlink(missing_ok=True)
            for name in (*first, *sorted(between), *last):
                if (folder / name).is_dir():
                    shutil.rmtree(folder / name)
                (staging / name).replace(folder / name)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        remove_if_empty(made)


def probe(staging: Path) -> None:
    """Write a mebibyte under a long name into a new folder, and take it away again.

    Raises
    ------
    OSError
        If there is no room, or the file system does not take such names.
    """
    path = staging / "figures" / PROBE_NAME
    path.parent.mkdir()
    path.write_bytes(bytes(PROBE_BYTES))
    path.unlink()
    path.parent.rmdir()
