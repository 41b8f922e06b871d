"""Read everything, compute no more than cycles forced in or out need, list every fault."""

from __future__ import annotations

from twinangle.analysis.cutting import override_fault
from twinangle.analysis.reading import read_trial
from twinangle.errors import TwinangleError
from twinangle.study import Study
from twinangle.study.settings import AngleWearable
from twinangle.wearable.procedures import require_procedure


def check_study(study: Study) -> list[str]:
    """Read every file of a study that is to be analysed and return what is at fault.

    Parameters
    ----------
    study : Study
        A study whose file and trials table were already found valid.

    Returns
    -------
    list of str
        One message a procedure that is not known and one a faulty trial, with the table's row;
        empty when all can be read.
    """
    faults = _unknown_procedures(study)
    for trial in study.trials:
        if trial.exclude:
            continue
        try:
            fault = override_fault(study, trial, read_trial(study, trial))
        except TwinangleError as error:
            fault = str(error)
        if fault:
            faults.append(f"{study.table.name}, row {trial.row}: {fault}")
    return faults


def _unknown_procedures(study: Study) -> list[str]:
    """Return a fault for every procedure that has no name here, or cannot be imported."""
    if isinstance(study.wearable, AngleWearable):
        return []  # there the names are the researcher's, one a column
    faults = []
    for name in study.wearable.procedures:
        try:
            require_procedure(name)
        except TwinangleError as error:
            faults.append(f"{study.path.name}: [wearable] `procedures`: {error}")
    return faults
