"""A folder of entries, each written whole or not at all, found damaged by its own hash.

Why not a library's cache: joblib's knows a function by its own source, not by what it calls, and
diskcache keeps everything in one database that a killed process or a full disk may lock. An entry
here is one file: a line that says what it is and the hash of the rest, then the rest.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import pickle
import tempfile
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from twinangle.errors import TwinangleError
from twinangle.kept.keys import FORMAT, Key
from twinangle.platform_calls import user_cache

FOLDER = "TWINANGLE_KEPT"  # the folder, where it is to be another; empty for none
LIMIT = "TWINANGLE_KEPT_MB"
DEFAULT_MB = 2048.0
SUFFIX = ".kept"
SCRATCH = "kept-"  # how files begin that are being written: nobody else's are ever removed
LONGEST_HEAD = 65_536


def kept_folder() -> Path | None:
    """Return where analyses are kept; None where the user wants none."""
    named = os.environ.get(FOLDER)
    if named is not None:
        return Path(named).expanduser() if named.strip() else None
    return user_cache() / "twinangle" / "kept"


@dataclass(frozen=True, slots=True)
class Entry:
    """One recording's analysis, or another part of a run, as it lies there."""

    path: Path
    size: int  # bytes
    used: float  # when it was last written or taken, in seconds of the system's clock
    study: str  # its title
    name: str  # of the recording or the part
    key: Key

    @property
    def is_recording(self) -> bool:
        """Whether it is a recording's analysis."""
        return bool(self.key.row)


class Store:
    """Entries in a folder, up to a size; the least recently used go first.

    Parameters
    ----------
    folder : Path
        Created when the first entry is written.
    limit_mb : float, optional
        None for what the environment says, or 2048.
    """

    def __init__(self, folder: Path, limit_mb: float | None = None) -> None:
        self.folder = folder
        self.limit = 2**20 * (_limit_mb() if limit_mb is None else limit_mb)

    def take(self, key: Key) -> Any | None:
        """Return what was kept under a key; None where there is nothing, or it is damaged.

        What is taken counts as used now. A damaged entry is removed.
        """
        path = self._path(key)
        try:
            with path.open("rb") as stream:
                head = json.loads(stream.readline(LONGEST_HEAD))
                body = stream.read()
        except FileNotFoundError:
            return None
        except (OSError, ValueError):
            _remove(path)
            return None
        # a copy of another entry under this name is as damaged as one whose bytes changed
        whole = isinstance(head, dict) and head.get("format") == FORMAT
        whole = whole and head.get("key") == json.loads(json.dumps(asdict(key)))
        if not whole or hashlib.sha256(body).hexdigest() != head.get("sha256"):
            _remove(path)
            return None
        with suppress(OSError):
            os.utime(path)
        return pickle.loads(body)

    def has(self, key: Key) -> bool:
        """Whether there is an entry of that name, sound or not."""
        with suppress(OSError):  # the folder of another user
            return self._path(key).is_file()
        return False

    def put(self, key: Key, value: object, *, study: str, name: str) -> str:
        """Keep a value; return why that was not possible, empty where it was.

        The file is written under a name of its own and then moved, so that two runs at the same
        time, or one that is killed, leave whole entries alone.
        """
        body = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
        head = {
            "format": FORMAT,
            "sha256": hashlib.sha256(body).hexdigest(),
            "study": study[:200],
            "name": name[:200],
            "key": asdict(key),
        }
        path = self._path(key)
        scratch = ""
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            number, scratch = tempfile.mkstemp(dir=path.parent, prefix=SCRATCH, suffix=".part")
            with os.fdopen(number, "wb") as stream:
                stream.write(json.dumps(head).encode() + b"\n" + body)
            Path(scratch).replace(path)
        except OSError as error:
            if scratch:
                _remove(Path(scratch))
            return f"{self.folder}: {error.strerror or error}"
        return ""

    def entries(self) -> list[Entry]:
        """Return every readable entry, the one used last first."""
        found = [entry for path in self._files() if (entry := _entry(path)) is not None]
        return sorted(found, key=lambda entry: -entry.used)

    def trim(self) -> None:
        """Remove the least recently used beyond the limit, and what killed runs left."""
        sized = []
        for path in self._files():
            with suppress(OSError):
                known = path.stat()
                sized.append((known.st_mtime, known.st_size, path))
        total = sum(size for _, size, _ in sized)
        for _, size, path in sorted(sized):
            if total <= self.limit:
                break
            _remove(path)
            total -= size
        for path in self._scratch():
            with suppress(OSError):
                if time.time() - path.stat().st_mtime > 3600.0:
                    _remove(path)

    def clear(self) -> tuple[int, int]:
        """Remove every entry; return how many and how many bytes."""
        n, size = 0, 0
        for path in [*self._files(), *self._scratch()]:
            with suppress(OSError):
                size += path.stat().st_size
                path.unlink()
                n += 1
        return n, size

    def _path(self, key: Key) -> Path:
        return self.folder / key.name[:2] / f"{key.name}{SUFFIX}"

    def _files(self) -> list[Path]:
        return self._there(f"??/*{SUFFIX}")

    def _scratch(self) -> list[Path]:
        return self._there(f"??/{SCRATCH}*.part")

    def _there(self, pattern: str) -> list[Path]:
        """Return what is there under such names, as far as the folder may be looked into."""
        with suppress(OSError):
            return sorted(self.folder.glob(pattern))
        return []


def _entry(path: Path) -> Entry | None:
    try:
        known = path.stat()
        with path.open("rb") as stream:
            head = json.loads(stream.readline(LONGEST_HEAD))
        key = Key(**head["key"])
        named = str(head["study"]), str(head["name"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return Entry(path, known.st_size, known.st_mtime, *named, key)


def _limit_mb() -> float:
    text = os.environ.get(LIMIT, "").strip()
    if not text:
        return DEFAULT_MB
    with suppress(ValueError):
        if 0.0 <= (limit := float(text)) < math.inf:
            return limit
    raise TwinangleError(
        f"the environment variable {LIMIT} holds {text!r}; accepted: a number of megabytes, 0 or "
        "more, such as 2048."
    )


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
