"""What people decided while looking: a file that only grows, one JSON object a line."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from twinangle.errors import StudyError
from twinangle.platform_calls import locked, store_names
from twinangle.study.decision import (
    EVERY_RECORDING,
    KINDS,
    Decision,
    Value,
    check_decision,
    check_who,
    decision_of,
    moment,
)
from twinangle.study.decision_scope import pairs_with
from twinangle.study.table_text import inside_folder
from twinangle.study.trial_row import SensorFiles, Trial

if TYPE_CHECKING:  # which is read with its decisions
    from twinangle.study.study_file import Study

__all__ = [
    "DECISIONS",
    "EVERY_RECORDING",
    "KINDS",
    "Decision",
    "Value",
    "append_decision",
    "check_decision",
    "check_who",
    "digest_of_file",
    "files_hashed",
    "moment",
    "read_decisions",
    "recording_hash",
]

DECISIONS = "decisions.jsonl"  # beside the study file
_LOCK = ".decisions.lock"
_WAIT_S = 20.0
MOST_BYTES = 1 << 26


def read_decisions(folder: Path) -> tuple[Decision, ...]:
    """Return every decision of a study, in order; none where there is no file of them.

    Parameters
    ----------
    folder : Path
        That of the study file.

    Returns
    -------
    tuple of Decision

    Raises
    ------
    StudyError
        Every damaged line at once, each with its number, what was found and what is accepted; a
        last line that was not written to its end is one.
    """
    path = decisions_file(folder)
    if path is None:
        return ()
    try:
        if path.stat().st_size > MOST_BYTES:
            raise StudyError(f"{DECISIONS}: has more than {MOST_BYTES} bytes. Is it one of ours?")
        data = path.read_bytes()
    except OSError as error:
        raise StudyError(f"{DECISIONS}: cannot be read: {error.strerror}.") from None
    return _parsed(data)


def decisions_file(folder: Path) -> Path | None:
    """Return the file of a study's decisions; None where there is none.

    Raises
    ------
    StudyError
        If it is a link that leaves the study folder.
    """
    path = inside_folder(folder, DECISIONS)
    if path is None:
        raise StudyError(f"{DECISIONS} leaves the study folder; put the file itself there.")
    return path if path.exists() else None


def append_decision(folder: Path, decision: Decision) -> Decision:
    """Write one decision to the end of the file, and return it with its id.

    The id is given, and the line written and brought to the disk, while a lock is held, so that
    several processes lose nothing.

    Parameters
    ----------
    folder : Path
        That of the study file.
    decision : Decision
        Its id does not count.

    Returns
    -------
    Decision

    Raises
    ------
    StudyError
        If the decision says nothing definite, an undo names none that can be undone, the file is
        damaged, or it cannot be written; it then holds what it held before.
    """
    try:
        with locked(folder / _LOCK, wait_s=_WAIT_S) as held:
            if not held:
                raise StudyError(
                    f"{DECISIONS}: the file system of {folder} knows no locks, so that two pages "
                    "could write over each other; put the study on a disk that does."
                )
            before = read_decisions(folder)
            numbered = replace(decision, id=before[-1].id + 1 if before else 1)
            try:
                _check_next(numbered, before)
            except ValueError as error:
                raise StudyError(f"this decision cannot be written: {error}.") from None
            _write(folder / DECISIONS, numbered)
            return numbered
    except TimeoutError:
        raise StudyError(
            f"{DECISIONS}: another process has been writing for {_WAIT_S:g} s; try again."
        ) from None
    except OSError as error:
        raise StudyError(f"{DECISIONS}: cannot be written: {error.strerror}.") from None


def _write(path: Path, decision: Decision) -> None:
    """Append a whole line, or nothing."""
    line = json.dumps(decision.to_record(), ensure_ascii=False, allow_nan=False) + "\n"
    new = not path.exists()
    with path.open("ab", buffering=0) as stream:
        before = stream.tell()
        data = line.encode("utf-8")
        try:
            while data:
                data = data[stream.write(data) or 0 :]
            os.fsync(stream.fileno())
        except OSError:
            with suppress(OSError):
                stream.truncate(before)
            raise
    if new:
        store_names(path.parent)


def _parsed(data: bytes) -> tuple[Decision, ...]:
    found: list[Decision] = []
    faults = []
    lines = data.split(b"\n")
    for number, line in enumerate(lines[:-1], start=1):
        try:
            if line.strip():
                decision = _decision(line)
                _check_next(decision, found, checked=True)
                found.append(decision)
        except ValueError as error:
            faults.append(f"{DECISIONS}, line {number}: {error}.")
    if lines[-1].strip():
        faults.append(
            f"{DECISIONS}, line {len(lines)}: was not written to its end ({_start(lines[-1])}); "
            "accepted: lines that each end with a line feed. Take it out, or end it where it is "
            "whole."
        )
    if faults:
        raise StudyError("\n".join(faults))
    return tuple(found)


def _start(line: bytes) -> str:
    text = line.decode("utf-8", "replace")
    return f"it reads {text[:40]!r}" + (" and so on" if len(text) > 40 else "")


@lru_cache(maxsize=1 << 14)  # a page reads the growing file again and again
def _decision(line: bytes) -> Decision:
    return decision_of(_record(line))


def _record(line: bytes) -> object:
    """Return the plain values of a line; no number that is none, no key twice."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        keys = [key for key, _ in pairs]
        twice = next((key for key in keys if keys.count(key) > 1), None)
        if twice is not None:
            raise ValueError(f"has the key {twice!r} twice; accepted: once")
        return dict(pairs)

    def no_number(text: str) -> None:
        raise ValueError(f"holds {text}; accepted: finite numbers")

    try:
        return cast(
            object,
            json.loads(line.decode("utf-8"), object_pairs_hook=once, parse_constant=no_number),
        )
    except UnicodeDecodeError as error:
        raise ValueError(f"byte {error.start} is not UTF-8; accepted: UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise ValueError(
            f"is not one JSON object ({error.msg} at character {error.pos + 1}; "
            f"{_start(line)}); accepted: one decision a line, as the tool writes it"
        ) from None
    except RecursionError:
        raise ValueError("is nested too deep; accepted: one decision a line") from None


def _check_next(decision: Decision, before: Sequence[Decision], *, checked: bool = False) -> None:
    """Refuse a decision that does not follow from those before it."""
    if not checked:
        check_decision(decision)
    last = before[-1].id if before else 0
    if decision.id <= last:
        raise ValueError(
            f"`id` is {decision.id} after {last}; accepted: numbers that grow from line to line. "
            "Were two copies of the file put together?"
        )
    if decision.kind != "undo":
        return
    of = decision.value["of"]
    undone = next((each for each in before if each.id == of), None)
    if undone is None:
        raise ValueError(f"`value` has of = {of}; accepted: the id of an earlier decision")
    if undone.recording != decision.recording:
        raise ValueError(
            f"`recording` is {decision.recording!r}; accepted: {undone.recording!r}, that of the "
            f"decision {of} that it undoes"
        )


def recording_hash(
    study: Study,
    trial: Trial,
    wearable: str = "",
    reference: str = "",
    *,
    digest: Callable[[Study, Path], str] | None = None,
) -> str:
    """Return the SHA-256 over the files of one recording, what each is for and its bytes.

    Where the files lie and what they are called does not count, nor the trials table's row.

    Parameters
    ----------
    study : Study
        Of one or several instruments.
    trial : Trial
        A row of its trials table.
    wearable, reference : str
        Names of instruments; the files are those of every pair that has them, all where empty.
    digest : callable, optional
        Returns the SHA-256 of a file, where it is not to be read again.

    Raises
    ------
    StudyError
        If a file cannot be read.
    """
    whole = hashlib.sha256()
    for role, path in files_hashed(study, trial, wearable, reference):
        whole.update(f"{role} {(digest or digest_of_file)(study, path)}\n".encode())
    return whole.hexdigest()


def files_hashed(
    study: Study, trial: Trial, wearable: str = "", reference: str = ""
) -> tuple[tuple[str, Path], ...]:
    """Return the files that :func:`recording_hash` is over, each with what it is for."""
    found: dict[tuple[str, Path], None] = {}
    for _, row in pairs_with(study, trial, wearable, reference):
        for role in ("wearable", "reference", "static", "functional", "events"):
            named = getattr(row, role)
            several = named.both if isinstance(named, SensorFiles) else (named,)
            found |= {(role, path): None for path in several if isinstance(path, Path)}
    return tuple(found)


def digest_of_file(study: Study, path: Path) -> str:
    """Return the SHA-256 of one file.

    Raises
    ------
    StudyError
        If it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        name = path.relative_to(study.folder).as_posix()
        raise StudyError(f"{name}: cannot be read: {error.strerror}.") from None
