"""What a worker of a cluster does with one recording: find its files, analyse, send back files."""

from __future__ import annotations

import hashlib
import inspect
import pickle
import shutil
import tempfile
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from twinangle.cluster.moved import moved
from twinangle.code_identity import our_code
from twinangle.errors import AngleError
from twinangle.wearable.own_procedure import find_procedure

# Drawing styles belong to a process, so that one process works on one recording at a time.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class Order:
    """One recording to be analysed elsewhere.

    Attributes
    ----------
    work : bytes
        Pickled: a function of a study, a trial and a folder to write to, then study and trial.
        Taken apart only by a worker with the same code.
    code : dict of str
        What :func:`code_here` says where the order comes from.
    own : tuple of str
        Names of the researcher's own procedures.
    folder : Path
        The study's folder there.
    files : dict of str
        SHA-256 of each file that the recording needs, by its name below the study's folder.
    address : str
        Where the study's folder is for the workers: a folder or an address; empty for `folder`.
    """

    work: bytes
    code: Mapping[str, str]
    own: tuple[str, ...]
    folder: Path
    files: Mapping[str, str]
    address: str = ""


@dataclass(frozen=True, slots=True)
class Parcel:
    """What a worker found: the function's value, and the files that it wrote."""

    value: Any
    files: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class Unfit:
    """Why a worker did not analyse a recording."""

    reason: str


def code_here(own: tuple[str, ...] = ()) -> dict[str, str]:
    """Return what numbers and bytes depend on here: our source, libraries, own procedures.

    Parameters
    ----------
    own : tuple of str
        Names of procedures that are not ours; each stands for the file that holds it.
    """
    return {**our_code(), **{f"procedure {name}": _file_of(name) for name in own}}


def _file_of(name: str) -> str:
    """Return the digest of the file in which an own procedure stands."""
    try:
        function = find_procedure(name)
    except AngleError as error:
        return str(error)
    file = None if function is None else inspect.getsourcefile(inspect.unwrap(function))
    return "unknown" if file is None else hashlib.sha256(Path(file).read_bytes()).hexdigest()[:12]


def analyse_away(order: Order) -> Parcel | Unfit:
    """Analyse one recording on this machine, if code and files are those of who asks.

    Parameters
    ----------
    order : Order
        The recording.

    Returns
    -------
    Parcel or Unfit
        What was found, or why this worker cannot find the same.
    """
    here = code_here(order.own)
    unlike = [name for name, there in order.code.items() if here.get(name) != there]
    if unlike:
        found = ", ".join(f"{name} {here.get(name)} (asked: {order.code[name]})" for name in unlike)
        return Unfit(f"another version: {found}")
    with tempfile.TemporaryDirectory(prefix="twinangle-") as scratch:
        folder = _folder(order, Path(scratch))
        fault = _fault(order.files, folder) if order.files else ""
        if fault:
            return Unfit(fault)
        function, study, trial = pickle.loads(order.work)
        out = Path(scratch) / "out"
        with _ONE_AT_A_TIME:
            value = function(
                moved(study, order.folder, folder), moved(trial, order.folder, folder), out
            )
        if order.files and (fault := _fault(order.files, folder)):
            return Unfit(f"{fault}, since it was analysed")
        files = {
            path.relative_to(out).as_posix(): path.read_bytes()
            for path in sorted(out.rglob("*"))
            if path.is_file()
        }
    return Parcel(moved(value, folder, order.folder), files)


def _folder(order: Order, scratch: Path) -> Path:
    """Return the study's folder here; files behind an address are fetched first."""
    if not order.address:
        return order.folder
    scheme = urlsplit(order.address).scheme
    if len(scheme) < 2:  # none, or the letter of a drive
        return Path(order.address)
    fsspec: Any = import_module("fsspec")

    folder = scratch / "study"
    for name in order.files:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        try:
            with (
                fsspec.open(f"{order.address.rstrip('/')}/{name}", "rb") as there,
                (folder / name).open("wb") as here,
            ):
                shutil.copyfileobj(there, here)
        except (OSError, ValueError, ImportError):
            (folder / name).unlink(missing_ok=True)
    return folder


def _fault(files: Mapping[str, str], folder: Path) -> str:
    """Say which of the files is missing or another one; empty where all are as they should be."""
    for name, digest in files.items():
        try:
            with (folder / name).open("rb") as stream:
                found = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError as error:
            return f"no {name} ({error.strerror})"
        if found != digest:
            return f"another {name} than here"
    return ""
