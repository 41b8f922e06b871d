"""Read everything, compute nothing, list every fault."""

from __future__ import annotations

from twinangle.errors import TwinangleError
from twinangle.pipeline.reading import read_trial
from twinangle.study import Study


def check_study(study: Study) -> list[str]:
    """Read every file of a study that is to be analysed and return what is at fault.

    Parameters
    ----------
    study : Study
        A study whose file and trials table were already found valid.

    Returns
    -------
    list of str
        One message a faulty trial, with the table's row; empty when all can be read.
    """
    faults = []
    for trial in study.trials:
        if trial.exclude:
            continue
        try:
            read_trial(study, trial)
        except TwinangleError as error:
            faults.append(f"{study.table.name}, row {trial.row}: {error}")
    return faults
