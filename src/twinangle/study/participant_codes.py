"""Warnings about participant identifiers that may name a person."""

from __future__ import annotations

import re
from collections.abc import Iterable

from twinangle.study.trial_row import Trial

DATE = re.compile(
    r"(?<!\d)((19|20)\d\d[-./]\d{1,2}[-./]\d{1,2}|\d{1,2}[-./]\d{1,2}[-./](19|20)?\d\d"
    r"|(19|20)\d\d(0[1-9]|1[0-2])(0[1-9]|[12]\d|3[01]))(?!\d)"
)
NAME = re.compile(r"[^\W\d_]+[,\s]+[^\W\d_]+.*|[A-ZÀ-Þ][^\W\d_A-ZÀ-Þ]{2,}")


def privacy_warnings(trials: Iterable[Trial]) -> tuple[str, ...]:
    """Return a warning for each participant whose identifier reads as a name or a date.

    Participants stand in the report and the results under their identifiers, so these ought to
    be codes. A date is a year with month and day in any common order; a name is two words of
    letters, or one capitalised word without digits.
    """
    told = {
        participant: reads_as_person(participant)
        for participant in dict.fromkeys(trial.participant for trial in trials)
    }
    return tuple(
        f"participant {participant!r} {what}; it appears in the report and all results. Use a "
        "code, such as 'P01'."
        for participant, what in told.items()
        if what
    )


def reads_as_person(code: str) -> str:
    """Return in words how a code reads as a name or a date; empty where it does not."""
    if DATE.search(code):
        return "holds what looks like a date, perhaps of birth"
    return "looks like a person's name" if NAME.fullmatch(code.strip()) else ""
