"""Names of the data set's files: entities in the order that the specification gives.

BIDS 1.9, appendix "Entities" and the templates of the modality "motion":
``sub-<label>_ses-<label>_task-<label>_tracksys-<label>[_acq-<label>][_run-<index>]_<suffix>``;
a label holds ASCII letters and digits only.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from twinangle.errors import StudyError
from twinangle.study import Trial


@dataclass(frozen=True, slots=True)
class Name:
    """What the names of one recording's files are made of."""

    subject: str
    session: str
    task: str
    ending: str  # "_acq-left_run-1", after the tracking system

    @property
    def folder(self) -> str:
        """The session's folder, relative to the data set."""
        return f"sub-{self.subject}/ses-{self.session}"

    @property
    def beginning(self) -> str:
        """The name up to the tracking system."""
        return f"sub-{self.subject}_ses-{self.session}_task-{self.task}"

    def file(self, system: str, suffix: str) -> str:
        """Return a file of the recording, relative to the session's folder."""
        return f"motion/{self.beginning}_tracksys-{system}{self.ending}_{suffix}"

    def of_task(self, addition: str) -> Name:
        """Return the name of a recording that belongs to this one, such as neutral standing."""
        return Name(self.subject, self.session, self.task + addition, self.ending)


def names_of(trials: Iterable[Trial]) -> list[Name]:
    """Return each trial's name.

    Participant, session and condition become subject, session and task. A trial of digits becomes
    the run; side, and a trial of other text, the acquisition.

    Raises
    ------
    StudyError
        If an identifier holds no ASCII letter or digit, or two different ones become the same
        label; the message names them.
    """
    taken: dict[tuple[str, ...], tuple[str, ...]] = {}
    names = []
    for trial in trials:
        name = _name(trial)
        for labels, identity in (
            ((name.subject,), (trial.participant,)),
            ((name.subject, name.session), (trial.participant, trial.session)),
            ((name.beginning, name.ending), trial.identity),
        ):
            other = taken.setdefault(labels, identity)
            if other != identity:
                raise StudyError(
                    f"{' '.join(other)!r} and {' '.join(identity)!r} have the same letters and "
                    "digits, of which alone a Motion-BIDS name is made; rename one of them in the "
                    "trials table."
                )
        names.append(name)
    return names


def _name(trial: Trial) -> Name:
    acquisition = trial.side
    run = ""
    if re.fullmatch(r"[0-9]+", trial.trial):
        run = f"_run-{trial.trial}"
    else:
        word = label(trial.trial)
        acquisition += word[:1].upper() + word[1:] if acquisition else word
    return Name(
        subject=label(trial.participant),
        session=label(trial.session),
        task=label(trial.condition),
        ending=(f"_acq-{acquisition}" if acquisition else "") + run,
    )


def label(text: str) -> str:
    """Return ASCII letters and digits: "grass path" becomes "grassPath".

    Raises
    ------
    StudyError
        If nothing is left.
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    words: list[str] = re.findall(r"[0-9A-Za-z]+", plain)
    if not words:
        raise StudyError(
            f"{text!r} holds no letter or digit of ASCII, of which alone a Motion-BIDS name is "
            "made; rename it in the trials table."
        )
    return words[0] + "".join(word[:1].upper() + word[1:] for word in words[1:])
