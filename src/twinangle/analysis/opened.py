"""A recording kept open: its signals and angles, for analyses that differ in decisions alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from twinangle.analysis.plausibility import examine_sensors
from twinangle.analysis.reading import TrialSignals, read_trial
from twinangle.errors import TwinangleError
from twinangle.plausibility.outcome import Outcome
from twinangle.signals.recording import JointMotion
from twinangle.study import Study, Trial, settings_of

UNEXPECTED = "unexpected fault in twinangle"
_READ_BY_METHOD = ("event", "trigger")  # what is read of a recording depends on these
Key = tuple[Trial, str]


@dataclass(slots=True, eq=False)
class Opened:
    """A recording's signals; what is computed of them alone is computed once.

    Parameters
    ----------
    key : tuple of Trial and str
        What the signals depend on.
    signals : TrialSignals
        As read.
    """

    key: Key
    signals: TrialSignals
    _tested: tuple[Outcome, ...] | None = None
    _motions: dict[str, JointMotion | str] = field(default_factory=dict)

    def fits(self, study: Study, trial: Trial) -> bool:
        """Whether a trial under these settings has the same signals and angles."""
        return self.key == _key(study, trial)

    def tested(self, study: Study, trial: Trial) -> tuple[Outcome, ...]:
        """Return what the physical tests of the raw sensors say.

        Raises
        ------
        ContradictionError
            If they contradict what is stated.
        """
        if self._tested is None:
            self._tested = examine_sensors(study, trial, self.signals)
        return self._tested

    def motions(self, procedures: tuple[str, ...]) -> dict[str, JointMotion | str]:
        """Return each procedure's motion, or the message of what went wrong."""
        for name in procedures:
            if name not in self._motions:
                self._motions[name] = _attempt(self.signals.motion, name)
        return {name: self._motions[name] for name in procedures}


def open_trial(study: Study, trial: Trial) -> Opened:
    """Read a recording, to be analysed again and again under other decisions.

    Parameters
    ----------
    study : Study
        The settings.
    trial : Trial
        A row of the trials table.

    Raises
    ------
    TwinangleError
        If it cannot be read.
    """
    return Opened(_key(study, trial), read_trial(study, trial))


def unexpected(error: Exception) -> str:
    """Return what a user is told of a fault of ours."""
    return f"{UNEXPECTED} ({type(error).__name__}: {error}); please report it."


def _key(study: Study, trial: Trial) -> Key:
    method = settings_of(study, trial).synchronisation.method
    bare = replace(trial, by_hand=None, exclude="")
    return bare, method if method in _READ_BY_METHOD else ""


def _attempt(estimate: Callable[[str], JointMotion], procedure: str) -> JointMotion | str:
    """Return what a procedure yields, or the message of what went wrong."""
    try:
        return estimate(procedure)
    except TwinangleError as error:
        return str(error)
    except Exception as error:
        return unexpected(error)
