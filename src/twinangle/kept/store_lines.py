"""What is kept, in lines for a terminal."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence

from twinangle.kept.keys import Key
from twinangle.kept.store import Entry, Store
from twinangle.wording import count

PARTS = {"code": "code", "settings": "settings", "row": "row of the trials table", "files": "files"}
DAY_S = 86_400.0


def kept_lines(store: Store) -> Iterator[str]:
    """Yield the folder and its size, then each study, and why a recording is kept more than once.

    Parameters
    ----------
    store : Store
        What to look at.
    """
    entries = store.entries()
    size = sum(entry.size for entry in entries)
    yield (
        f"{store.folder}: {count(len(entries), 'recording')}, {size / 2**20:.1f} of "
        f"{store.limit / 2**20:.0f} MB (TWINANGLE_KEPT_MB). Clear it: twinangle cache --clear"
    )
    studies: dict[str, list[Entry]] = {}
    for entry in entries:
        studies.setdefault(entry.study, []).append(entry)
    for study, own in studies.items():
        of_each: dict[str, list[Entry]] = {}
        for entry in own:
            of_each.setdefault(entry.recording, []).append(entry)
        mb = sum(entry.size for entry in own) / 2**20
        yield (
            f"  {study}: {count(len(of_each), 'recording')} in "
            f"{count(len(own), 'entry', 'entries')}, {mb:.1f} MB, last used {_ago(own[0].used)}"
        )
        for recording, several in of_each.items():
            if len(several) > 1:
                differ = _what_differs([entry.key for entry in several])
                yield f"    {recording}: {len(several)} times, of other {differ}"


def _what_differs(keys: Sequence[Key]) -> str:
    names = [
        words for part, words in PARTS.items() if len({getattr(key, part) for key in keys}) > 1
    ]
    return " and ".join(names)


def _ago(used: float) -> str:
    days = int((time.time() - used) // DAY_S)
    return "today" if days < 1 else f"{count(days, 'day')} ago"
