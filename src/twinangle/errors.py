"""What can be wrong with a study, in a handful of kinds."""


class TwinangleError(Exception):
    """Something in the study or its data is at fault; the message is fit for the user.

    A message says what is wrong with name and value, where it is (file, row, channel), and what
    would be accepted. The command line prints it and exits with status 1.
    """


class StudyError(TwinangleError):
    """The study file or the trials table is at fault."""


class RecordingError(TwinangleError):
    """A file of signals is at fault, or its signals are not what the study says they are."""


class UnreadError(RecordingError):
    """A file could not be read as a recording; at the next try, the same file may be."""


class AngleError(TwinangleError):
    """A joint angle cannot be computed, or could not be trusted, from these signals."""


class SynchronisationError(TwinangleError):
    """Two clocks cannot be brought together with the certainty asked for."""


class CycleError(TwinangleError):
    """Too few usable movement cycles."""


class OverrideError(CycleError):
    """A cycle forced in or out by hand cannot be."""


class TooFewCyclesError(CycleError):
    """Too few cycles were found or kept; another way of finding them may do better.

    Parameters
    ----------
    message : str
        What is told.
    cycles : CycleSet, optional
        Those that were found, each with why it does not count, to be looked at.
    """

    def __init__(self, message: str, cycles: object = None) -> None:
        super().__init__(message)
        self.cycles = cycles


def closed(reason: object) -> str:
    """Return what another library said as the end of a sentence of ours: with one full stop.

    Parameters
    ----------
    reason : object
        An exception or a text.

    Returns
    -------
    str
    """
    return f"{str(reason).rstrip().rstrip('.')}."
