"""What a user is told of a recording: a text that knows its kind and how grave it is.

A :class:`Notice` is a string and goes wherever a string goes. Many recordings that say the same in
other numbers have one kind, so that terminal and report can give it one line; its gravity decides
what comes first and what is no warning at all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal, Self, get_args

Gravity = Literal["note", "warning", "grave"]
GRAVITIES: tuple[Gravity, ...] = get_args(Gravity)
"""note: worth knowing, nothing to mend (how a file was read, what was taken from where).
warning: a number may be less sure than it looks, or a recording could be better.
grave: a number may be wrong by more than its interval says; look before using it."""

OTHER = "other"  # the kind of a plain string
_KIND = re.compile(r"[a-z]+(-[a-z]+)*")


class Notice(str):
    """A text for the user that knows its kind and its gravity.

    Parameters
    ----------
    text : str
        A sentence.
    kind : str
        What it is about in a few plain words, lower case and joined by hyphens, such as
        "clock-drift"; the same for every recording and every version.
    gravity : "note", "warning" or "grave"
        See `GRAVITIES`.
    size : float, optional
        How bad it is, the larger the worse: what the text rounds, or a correlation with its sign
        turned. Compared within one kind alone, to show the worst of many; NaN where it has none.

    Raises
    ------
    ValueError
        If the kind is no such word, or the gravity none of the three.

    Examples
    --------
    >>> told = Notice("gyroscope bias 3.1 °/s.", "gyroscope-bias")
    >>> told, told.kind, told.gravity
    ('gyroscope bias 3.1 °/s.', 'gyroscope-bias', 'warning')
    """

    kind: str
    gravity: Gravity
    size: float

    def __new__(
        cls,
        text: str,
        kind: str = OTHER,
        gravity: Gravity = "warning",
        size: float = float("nan"),
    ) -> Self:
        """Return the text with its kind, gravity and size."""
        if not _KIND.fullmatch(kind):
            raise ValueError(f"kind: expected lower-case words joined by hyphens, got {kind!r}.")
        if gravity not in GRAVITIES:
            raise ValueError(f"gravity: expected {' or '.join(GRAVITIES)}, got {gravity!r}.")
        new = super().__new__(cls, text)
        new.kind, new.gravity, new.size = kind, gravity, float(size)
        return new

    def __reduce__(self) -> tuple[type[Notice], tuple[str, str, Gravity, float]]:
        """Return what a copy in another process is made of."""
        return type(self), (str(self), self.kind, self.gravity, self.size)


def kind_of(text: str) -> str:
    """Return a text's kind; that of a plain string is "other"."""
    return text.kind if isinstance(text, Notice) else OTHER


def gravity_of(text: str) -> Gravity:
    """Return a text's gravity; that of a plain string is "warning"."""
    return text.gravity if isinstance(text, Notice) else "warning"


def size_of(text: str) -> float:
    """Return how bad a text says it is within its kind; NaN where it does not say."""
    return text.size if isinstance(text, Notice) else float("nan")


def reworded(old: str, new: str) -> str:
    """Return a new text, such as one with the sensor's name before it, of the old one's kind."""
    return Notice(new, old.kind, old.gravity, old.size) if isinstance(old, Notice) else new


def as_notes(texts: Iterable[str], kind: str) -> tuple[str, ...]:
    """Return texts as notes of one kind; those that know their own kind keep it."""
    return tuple(each if isinstance(each, Notice) else Notice(each, kind, "note") for each in texts)
