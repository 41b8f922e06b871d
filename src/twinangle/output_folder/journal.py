"""The switch from old results to new ones, by a journal that says what is left to do.

No links: every step is a rename within the folder, or a removal, and each can be repeated. Only
files that a run wrote here are replaced or removed, by the list that it left.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
from collections.abc import Collection, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from twinangle.errors import StudyError

MANIFEST = ".twinangle-outputs.json"
UNFINISHED = "UNFINISHED-twinangle.txt"
RESULTS = "results.json"
STAGING = ".twinangle-staging-"
DRAFT = ".twinangle-draft"
PART = ".twinangle-part-"
AT_ONCE = 8  # files that are brought to the disk
_MARK = "What is left to do, for the program:"
_NOTICE = """\
UNFINISHED: do not use the results in this folder yet.

twinangle was putting new results in the place of older ones here when it was stopped, so that the
files may be of both. Nothing is lost: the new results are whole, part of them still in the folder
{staging}
Start any twinangle command that names this folder, such as

    twinangle run STUDY --out THIS_FOLDER

It first puts the remaining files in their places, says so, and removes this file.

{mark}
{plan}
"""


@dataclass(frozen=True, slots=True)
class Switch:
    """What turns old results into new ones."""

    staging: str  # folder of the new files, inside the output folder
    new: Mapping[str, str]  # name to SHA-256
    replaced: tuple[str, ...]  # the new names under which an older file of a run stood
    outdated: Mapping[str, str]  # as `new`; removed where they are still as a run wrote them


def plan_switch(staging: Path, folder: Path) -> Switch:
    """Return what is to be done so that `folder` holds the staged files and none outdated.

    A staged file that an earlier run has brought there, to the same bytes, is removed: the one that
    stands there stays, and has long been on the disk.
    """
    written = sorted(path for path in staging.rglob("*") if path.is_file())
    names = [path.relative_to(staging).as_posix() for path in written]
    ours = listed(folder)
    # Side by side, as the disk then brings several files to rest at once.
    with ThreadPoolExecutor(AT_ONCE) as threads:
        old = [(folder / name, ours.get(name)) for name in names]
        new = dict(zip(names, threads.map(_stored, written, old), strict=True))
    foreign = foreign_files(folder, new)
    replaced = [name for name in new if name not in foreign and (folder / name).exists()]
    outdated = {name: ours[name] for name in ours if name not in new}
    return Switch(staging.name, new, tuple(replaced), outdated)


def foreign_files(folder: Path, names: Iterable[str]) -> tuple[str, ...]:
    """Return those names under which a file stands that no run wrote here.

    A folder that holds a run's `results.json` without the list beside it (a copy without hidden
    files) is taken for a run's own.
    """
    if not (folder / MANIFEST).exists() and _is_results(folder / RESULTS):
        return ()
    ours = listed(folder)
    return tuple(name for name in names if name not in ours and os.path.lexists(folder / name))


def begin(folder: Path, switch: Switch) -> None:
    """Write the journal, in one atomic step. From here on the switch can only be completed."""
    text = json.dumps(asdict(switch), indent=1, sort_keys=True)
    _write_whole(folder / UNFINISHED, _NOTICE.format(staging=switch.staging, mark=_MARK, plan=text))


def complete(folder: Path, switch: Switch, *, planned_now: bool = False) -> None:
    """Do what is left of a switch; may be stopped and begun again at any point.

    With `planned_now` the files that are not staged have just been seen in their places.

    Raises
    ------
    StudyError
        If a file that no run wrote is in the way, or new files are neither in their place nor
        staged; the journal stays.
    OSError
        If a file cannot be moved; the journal stays.
    """
    staging = folder / switch.staging
    waiting = {name for name in switch.new if (staging / name).is_file()}
    _refuse_obstacles(folder, switch, waiting, () if planned_now else switch.new)
    for name in sorted(waiting, key=lambda name: (name == RESULTS, name)):
        _move(staging / name, folder / name)
    for name, digest in switch.outdated.items():
        if (folder / name).is_file() and digest in ("", _digest(folder / name)):
            (folder / name).unlink()
    _write_whole(folder / MANIFEST, json.dumps(dict(switch.new), indent=1, sort_keys=True) + "\n")
    (folder / UNFINISHED).unlink(missing_ok=True)
    shutil.rmtree(staging, ignore_errors=True)


def _refuse_obstacles(
    folder: Path, switch: Switch, waiting: Collection[str], doubtful: Iterable[str]
) -> None:
    """Refuse to complete over files of others, or without files that are nowhere."""
    for name in waiting:
        if name not in switch.replaced and os.path.lexists(folder / name):
            raise StudyError(
                f"--out {folder}: {name} is there already, and no run wrote it. Move it away: the "
                "new results lie whole in the folder, and the next command that names the folder "
                "puts them in place."
            )
    for name in doubtful:
        if name not in waiting and not _holds(folder / name, switch.new[name]):
            raise StudyError(
                f"--out {folder}: its results are unfinished, and {name} is lost with the folder "
                f"{switch.staging}. Run the study into it again."
            )


def unfinished(folder: Path) -> Switch | None:
    """Return the switch that was begun in a folder and not completed; None without one."""
    try:
        _, mark, plan = (folder / UNFINISHED).read_text(encoding="utf-8").partition(_MARK)
        found = json.loads(plan) if mark else None
    except (OSError, ValueError):
        return None
    if not isinstance(found, dict) or not str(found.get("staging", "")).startswith(STAGING):
        return None
    new, outdated = _inside(folder, found.get("new")), _inside(folder, found.get("outdated"))
    replaced = tuple(str(name) for name in found.get("replaced", ()))
    return Switch(PurePosixPath(found["staging"]).name, new, replaced, outdated)


def settle(folder: Path) -> tuple[str, ...]:
    """Complete what an earlier run left unfinished in a folder, and say so.

    Parameters
    ----------
    folder : Path
        Of results; every command that reads or writes one calls this first.

    Returns
    -------
    tuple of str
        What was done; empty where there was nothing to do.

    Raises
    ------
    StudyError
        If it cannot be completed; the message says why.
    """
    switch = unfinished(folder)
    if switch is None:
        return ()
    try:
        complete(folder, switch)
    except OSError as error:
        raise StudyError(
            f"--out {folder}: its results are unfinished, and {error.filename or 'a file'} cannot "
            f"be put in its place ({error.strerror}). {UNFINISHED} there says more."
        ) from error
    done = (
        f"{folder}: an earlier run was stopped while it put its results here. That is completed "
        "now: the folder holds that run's results whole."
    )
    return (done,)


def listed(folder: Path) -> dict[str, str]:
    """Return the files that runs wrote into a folder, with their SHA-256 where it is known.

    A list of names alone is what earlier versions wrote.
    """
    switch = unfinished(folder)
    begun = _begun(folder, switch) if switch is not None else {}
    try:
        names = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return begun
    if isinstance(names, list):
        names = {name: "" for name in names if isinstance(name, str)}
    return {**_inside(folder, names), **begun}


def edited(folder: Path) -> tuple[str, ...] | None:
    """Return the files of the last run that are not as it wrote them, or gone.

    Returns
    -------
    tuple of str or None
        Names, sorted; None where the run's list of its files is not there, so that nobody knows.
    """
    if not (folder / MANIFEST).is_file():
        return None
    ours = listed(folder)
    return tuple(sorted(name for name in ours if not _holds(folder / name, ours[name])))


def _begun(folder: Path, switch: Switch) -> dict[str, str]:
    """Return the files of runs in the midst of a switch: outdated, replaced or in place already."""
    new = {
        name: "" if name in switch.replaced else digest
        for name, digest in switch.new.items()
        if name in switch.replaced or _holds(folder / name, digest)
    }
    return {**switch.outdated, **new}


def _inside(folder: Path, names: Any) -> dict[str, str]:
    """Return those names that lead to a place inside the folder, whatever a file says."""
    if not isinstance(names, dict):
        return {}
    home = folder.resolve()
    return {
        name: str(digest)
        for name, digest in names.items()
        if (home / name).resolve().is_relative_to(home)
    }


def _holds(path: Path, digest: str) -> bool:
    """Return whether a file is there and has this SHA-256."""
    return path.is_file() and _digest(path) == digest


def _move(source: Path, target: Path) -> None:
    """Put a file in its place in one step, also where that is another file system."""
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        source.replace(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        part = target.with_name(f"{PART}{target.name}")
        shutil.copyfile(source, part)
        part.replace(target)
        source.unlink()


def _write_whole(path: Path, text: str) -> None:
    """Write a file so that it is there whole or not at all."""
    draft = path.with_name(DRAFT)
    with draft.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    draft.replace(path)


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _stored(path: Path, old: tuple[Path, str | None]) -> str:
    """Return a file's SHA-256 once its bytes are on the disk, and not only on the way there.

    They are where `old`, a file with the hash that it had when a run wrote it, still holds them.
    """
    digest, (place, known) = _digest(path), old
    if digest == known and _holds(place, digest):
        path.unlink()
        return digest
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())
    return digest


def _is_results(path: Path) -> bool:
    """Return whether a file is the `results.json` of a run."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(found, dict) and {"schema", "trials", "provenance"} <= found.keys()
