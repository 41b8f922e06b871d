"""Instruments that a recording was made without: nobody left them out, there are no files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from twinangle.results.grouping import key_of
from twinangle.under_test import NOT_RECORDED
from twinangle.wording import count

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult


def is_not_recorded(trial: TrialResult) -> bool:
    """Return whether a result is absent because an instrument has no file in the recording."""
    return trial.status == "excluded" and trial.reason.startswith(NOT_RECORDED)


def not_recorded_sentences(results: StudyResults) -> list[str]:
    """Return one sentence for each instrument that some recordings were made without."""
    without: dict[str, set[object]] = {}
    for trial in results.trials:
        if is_not_recorded(trial):
            name = trial.reason.removeprefix(NOT_RECORDED)
            without.setdefault(name, set()).add(key_of(trial))
    total = len({key_of(trial) for trial in results.trials})
    return [
        f"Without a file of {name}: {len(keys)} of {count(total, 'recording')}."
        for name, keys in without.items()
    ]
