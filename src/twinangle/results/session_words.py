"""What test and retest came to, in one sentence of numbers of the results."""

from __future__ import annotations

from typing import TYPE_CHECKING

from twinangle.results.answer import answer_of
from twinangle.results.pooled import Absent, named
from twinangle.wording import between, count, degrees, number, quantity_name

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults

MAIN_FORM = "ICC(2,1)"  # two-way random effects, absolute agreement, single measurement
SHOWN = "peak_flexion_deg"  # what the answer tells of test and retest; the others are in the table


def session_sentence(results: StudyResults) -> str:
    """Say how far the wearable repeats over sessions; empty where there was one only."""
    main = answer_of(results).procedure
    for (procedure, condition, quantity), found in named(results.reliability):
        wanted = (found.design, found.instrument) == ("sessions", "wearable")
        if not wanted or procedure != main or quantity != SHOWN or isinstance(found.error, Absent):
            continue
        icc = found.form(MAIN_FORM)
        error, where = found.error, f" under “{condition}”" if condition else ""
        return (
            f"Over {count(len(found.columns), 'session')} of "
            f"{count(len(found.people), 'participant')}{where}, the wearable's "
            f"{quantity_name(quantity).lower()} repeats with a standard error of measurement of "
            f"{_ends(error.sem, error.sem_ci)}; the smallest change of one person that is more "
            f"than that error is {_ends(error.mdc, error.mdc_ci)}. From session "
            f"{found.columns[0]} to {found.columns[-1]} it shifted by "
            f"{_ends(error.shift, error.shift_ci)} in the mean. {MAIN_FORM} (two-way, "
            f"agreement) is {number(icc.value)} ({between(icc.value_ci)})."
        )
    return ""


def _ends(value: float, ends: tuple[float, float]) -> str:
    return f"{degrees(value)} ({between(ends)}°)"
