"""What is kept, in lines for a terminal."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence

from twinangle.kept.keys import Key
from twinangle.kept.store import Entry, Store
from twinangle.wording import count

PARTS = {"code": "code", "settings": "settings", "row": "row of the trials table", "files": "files"}
DAY_S = 86_400.0


def kept_lines(store: Store, *, every: bool = False) -> Iterator[str]:
    """Yield the folder and its size, then a line a study.

    Parameters
    ----------
    store : Store
        What to look at.
    every : bool
        Whether a line a recording follows each study, with why it is kept more than once.
    """
    entries = store.entries()
    size = sum(entry.size for entry in entries)
    n = sum(entry.is_recording for entry in entries)
    yield (
        f"{store.folder}: {_both(n, len(entries) - n)}, {size / 2**20:.1f} of "
        f"{store.limit / 2**20:.0f} MB (TWINANGLE_KEPT_MB). Clear it: twinangle cache --clear"
    )
    studies: dict[str, list[Entry]] = {}
    for entry in entries:
        studies.setdefault(entry.study, []).append(entry)
    for study, own in studies.items():
        recordings = [entry for entry in own if entry.is_recording]
        of_each: dict[str, list[Entry]] = {}
        for entry in recordings:
            of_each.setdefault(entry.name, []).append(entry)
        both = _both(len(recordings), len(own) - len(recordings), "entry", "entries")
        yield f"  {study}: {count(len(of_each), 'recording')} in {both}, {_size_and_use(own)}"
        for recording, several in sorted(of_each.items()) if every else ():
            yield f"    {recording}: {_size_and_use(several)}{_why_several(several)}"
    if n and not every:
        yield "Each recording, and why one is kept more than once: twinangle cache --all"


def _size_and_use(entries: Sequence[Entry]) -> str:
    mb = sum(entry.size for entry in entries) / 2**20
    return f"{mb:.1f} MB, last used {_ago(max(entry.used for entry in entries))}"


def _why_several(entries: Sequence[Entry]) -> str:
    if len(entries) == 1:
        return ""
    return f"; {len(entries)} times, of other {_what_differs([entry.key for entry in entries])}"


def _both(recordings: int, parts: int, *words: str) -> str:
    """Say how many recordings are kept, and how many parts of what is pooled and written."""
    said = count(recordings, *(words or ("recording",)))
    return f"{said} and {count(parts, 'part of the report', 'parts of the report')}"


def _what_differs(keys: Sequence[Key]) -> str:
    names = [
        words for part, words in PARTS.items() if len({getattr(key, part) for key in keys}) > 1
    ]
    return " and ".join(names)


def _ago(used: float) -> str:
    days = int((time.time() - used) // DAY_S)
    return "today" if days < 1 else f"{count(days, 'day')} ago"
