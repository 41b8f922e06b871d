"""What may name a person and therefore stays out of a data set that is given away."""

from __future__ import annotations

import re

from twinangle.errors import StudyError
from twinangle.study import Study
from twinangle.study.participant_codes import DATE, privacy_warnings

HINT = "Change them in the trials table, or let the export give new codes (--recode)."
PERSONAL = re.compile(
    r"(?:^|[_\W])(?:(?:sur|first|last|family|given|full)?_?name|initials|birth|born|dob|date|"
    r"e-?mail|phone|telephone|address|street|postcode|zip|insurance)(?:$|[_\W]|day|date)",
    re.IGNORECASE,
)


def refuse_names(study: Study) -> None:
    """Refuse participants whose identifiers look like names or dates.

    Raises
    ------
    StudyError
        One line a participant.
    """
    found = privacy_warnings(study.trials)
    if found:
        lines = ["a data set names participants by code only:", *found, HINT]
        raise StudyError("\n  ".join(lines))


def code_names(study: Study) -> dict[str, str]:
    """Return new codes, P01 and so on, in the order of the trials table."""
    people = list(dict.fromkeys(trial.participant for trial in study.trials))
    width = max(2, len(str(len(people))))
    return {person: f"P{number:0{width}d}" for number, person in enumerate(people, start=1)}


def personal_covariates(study: Study) -> list[tuple[str, str]]:
    """Return the covariates that may name a person, each with the reason."""
    found = []
    for name in dict.fromkeys(key for trial in study.trials for key in trial.covariates):
        texts = [
            _text(trial.covariates[name]) for trial in study.trials if name in trial.covariates
        ]
        if PERSONAL.search(name):
            found.append((name, "its name says that it may name a person"))
        elif any(DATE.search(text) for text in texts):
            found.append((name, "it holds what looks like a date"))
    return found


def said_of_dates(study: Study) -> list[str]:
    """Tell of sessions and trials whose identifiers hold a date; these are not changed."""
    texts = dict.fromkeys(
        text for trial in study.trials for text in (trial.session, trial.trial) if DATE.search(text)
    )
    return [f"{text!r} holds what looks like a date, and stands in the data set" for text in texts]


def _text(value: float | str) -> str:
    if isinstance(value, str):
        return value
    return str(int(value)) if value == int(value) else repr(value)
