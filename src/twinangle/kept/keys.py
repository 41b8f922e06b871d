"""What one recording's analysis depends on, as four hashes that are told apart.

Code, settings, the row of the trials table, and the files: where one differs, `cache` and the log
can say which.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from twinangle.kept.digest import digest_of

FORMAT = 2  # of entries and keys; a change of either begins anew
# Settings that only what is pooled or written depends on, never one recording's analysis.
OF_THE_WHOLE = {
    "agreement": ("acceptable_deg", "error_ratio", "published_interval"),
    "conditions": ("against",),
    "reference": ("accuracy_deg",),
    "report": ("figure_width_mm", "figure_formats", "dpi"),
}
# Sections of which what is measured in a recording never learns, see `without_statistics`.
OF_STATISTICS = ("agreement", "conditions", "report")
_COARSEST_NS = 3_000_000_000  # two seconds, as FAT counts them, and some
_TAKEN: dict[tuple[int, ...], str] = {}


@dataclass(frozen=True, slots=True)
class Key:
    """The four hashes, each of 64 hexadecimal digits."""

    code: str
    settings: str
    row: str
    files: str

    @property
    def name(self) -> str:
        """The entry's name: one hash of the four."""
        return digest_of([FORMAT, self.code, self.settings, self.row, self.files])


def key_of(
    *,
    code: Mapping[str, str],
    settings: Mapping[str, Any],
    row: object,
    files: Sequence[Path],
    folder: Path,
    drawing: object,
) -> Key | None:
    """Return the key of one recording's analysis.

    Parameters
    ----------
    code : dict
        What :func:`twinangle.code_identity.code_and_machine` returns.
    settings : dict
        The study's settings by section, as plain values; of several pairs of instruments each
        section with the pair before its name.
    row : object
        The trial: frozen dataclasses, tuples and mappings of plain values and paths.
    files : sequence of Path
        What its analysis reads.
    folder : Path
        The study's folder.
    drawing : object
        What its figures depend on beside that.

    Returns
    -------
    Key or None
        None where a file cannot be read, or the row holds what no hash stands for, such as a
        recording in memory: then nothing is known, and nothing kept.
    """
    try:
        content = hash_of_files(files, folder)
        told = digest_of(row, folder)
    except (OSError, ValueError, TypeError):
        return None
    return Key(
        code=digest_of(dict(code)),
        settings=digest_of([mattering(settings), drawing]),
        row=told,
        files=content,
    )


def key_of_measurements(key: Key, settings: Mapping[str, Any]) -> Key:
    """Return the key of what is measured in a recording, from that of its analysis.

    Parameters
    ----------
    key : Key
        Of the whole analysis.
    settings : dict
        As :func:`key_of` was given them.
    """
    measured = {k: v for k, v in mattering(settings).items() if _own(k) not in OF_STATISTICS}
    return Key(key.code, digest_of(measured), "", digest_of(key.row + key.files))


def mattering(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings that the analysis of a recording depends on."""
    return {
        section: {
            name: value
            for name, value in values.items()
            if name not in OF_THE_WHOLE.get(_own(section), ())
        }
        for section, values in settings.items()
    }


def _own(section: str) -> str:
    """Return the name of a section, without which of several pairs of instruments it is of."""
    return section.rpartition(" ")[2]


def hash_of_files(files: Sequence[Path], folder: Path) -> str:
    """Return one hash of the names of files, as seen from a folder, and of all that they hold."""
    return digest_of([[path.relative_to(folder).as_posix(), hash_of_file(path)] for path in files])


def hash_ahead(files: Iterable[Path], at_once: int) -> None:
    """Take the hashes of files side by side; :func:`hash_of_file` knows them then.

    Those that cannot be read are passed over: whoever asks for their hash is told.
    """

    def tried(path: Path) -> None:
        with suppress(OSError):
            hash_of_file(path)

    with ThreadPoolExecutor(at_once) as threads:
        list(threads.map(tried, files))


def hash_of_file(path: Path) -> str:
    """Return the SHA-256 of a file, which one run reads for it once, as long as it stays the same.

    The system's number for it, its size and both times of change say so; of a file that was written
    a moment ago they may not, as clocks of file systems are coarse: that is read each time.
    """
    with path.open("rb") as stream:
        found = os.fstat(stream.fileno())
        times = found.st_mtime_ns, found.st_ctime_ns
        seen = (found.st_dev, found.st_ino, found.st_size, *times)
        known = _TAKEN.get(seen)
        if known is None:
            known = hashlib.file_digest(stream, "sha256").hexdigest()
            if time.time_ns() - max(times) > _COARSEST_NS:
                _TAKEN[seen] = known
    return known
