"""Numeric arrays of a MATLAB 7.3 or another HDF5 file, read by h5py in a process of its own.

The HDF5 library can run without end on a damaged file (the fuzzing in
`benchmarks/fuzz_importers.py` found such ones), so that a child process with limits of memory and
processor time reads it, and hands back nothing but numbers.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeAlias

import numpy as np

from twinangle.signals.recording import Array

SIGNATURE = b"\x89HDF\r\n\x1a\n"
CHILD = Path(__file__).with_name("mat73_child.py")
Mode: TypeAlias = Literal["matlab", "plain"]
LONGEST_S = 60.0  # beside the child's own limit of processor time
BYTES_A_SECOND = 1_000_000


def is_mat73(beginning: bytes) -> bool:
    """Tell a MATLAB 7.3 file by its first bytes."""
    return b"MATLAB 7.3" in beginning[:128] or SIGNATURE in beginning


@dataclass(frozen=True, slots=True)
class Arrays:
    """What a file holds: its arrays, their units, and the objects that are left out."""

    arrays: dict[str, Array]
    units: dict[str, str]
    objects: dict[str, str]  # each one's name and class


def read_arrays(path: Path, most_bytes: int, mode: Mode = "matlab") -> Arrays:
    """Return every real numeric array of a file, struct fields under ``struct.field``.

    Parameters
    ----------
    path : Path
        The file.
    most_bytes : int
        What its arrays may come to all in all, as float64.
    mode : {"matlab", "plain"}
        Whether it is one of MATLAB, or any other HDF5 file.

    Returns
    -------
    Arrays
        float64, in MATLAB's shapes or, of a plain file, in its own; what
        `twinangle.formats.mat5.read_arrays` leaves out is left out here.

    Raises
    ------
    ValueError
        If the file is damaged, claims more than it holds, or cannot be read within the limits.
    """
    found, content = run_child(CHILD, [str(path.resolve()), str(most_bytes), mode], path)
    head = found["arrays"]
    return Arrays(
        arrays=_arrays(head, content),
        units={name: unit for name, _, unit in head if unit},
        objects=found.get("objects", {}),
    )


def run_child(script: Path, arguments: list[str], path: Path) -> tuple[dict[str, Any], bytes]:
    """Return the line of JSON and the bytes that a child process reads from a file.

    Raises
    ------
    ValueError
        If it says why it cannot, fails, or does not end in time.
    """
    command = [sys.executable, "-P", str(script), *arguments]
    wait_s = LONGEST_S + path.stat().st_size / BYTES_A_SECOND
    try:
        done = subprocess.run(command, capture_output=True, check=False, timeout=wait_s)
    except subprocess.TimeoutExpired:
        raise ValueError(f"it is damaged; reading it took more than {wait_s:.0f} s") from None
    head, _, content = done.stdout.partition(b"\n")
    if done.returncode or not head:
        last = done.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        status = f"status {done.returncode}" + (f": {last}" if last else "")
        raise ValueError(f"the HDF5 library failed on it or did not end ({status})")
    found: dict[str, Any] = json.loads(head)
    if "error" in found:
        raise ValueError(str(found["error"]).rstrip("."))
    return found, content


def _arrays(head: list[tuple[str, list[int], str]], content: bytes) -> dict[str, Array]:
    """Cut the values into arrays."""
    arrays, at = {}, 0
    for name, shape, _ in head:
        count = math.prod(shape)
        arrays[name] = np.frombuffer(content, np.float64, count, at).reshape(shape)
        at += 8 * count
    return arrays
