"""A study that is still to be recorded: what its files say so far."""

from __future__ import annotations

from pathlib import Path

from twinangle.study.from_file import read_bare_study
from twinangle.study.instruments import SEVERAL, own_columns
from twinangle.study.study_file import Study
from twinangle.study.study_text import parsed, read_text
from twinangle.study.table_text import read_table
from twinangle.study.trial_row import COLUMNS, REQUIRED
from twinangle.study.trials_table import written


def read_planned_study(path: str | Path) -> Study:
    """Read a study of which recordings, and rows and times of the table, may still be missing.

    Its settings are checked as ever, and so is what the table holds. Python functions that the
    study file names are never run for a plan, so that they may be named.

    Parameters
    ----------
    path : path
        The study file, or the folder that holds `study.toml`.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        As :func:`read_bare_study`.
    """
    return read_bare_study(path, allow_own_procedures=True, planned=True)


def covariate_columns(study: Study) -> tuple[str, ...]:
    """Return the columns of the trials table that no setting gives a meaning to.

    Parameters
    ----------
    study : Study
        Whose table may be missing.

    Returns
    -------
    tuple of str
        Names in the order of the table.
    """
    if not written(study.table):
        return ()
    table = read_table(study.folder, study.table, study.table.name, ())
    patterns = getattr(study.wearable, "files", None)
    known = {*COLUMNS, *REQUIRED, *(patterns.placeholders if patterns is not None else ())}
    for part in study.parts:
        own = getattr(part.study.wearable, "files", None)
        known.update(own.placeholders if own is not None else ())
    if study.parts:
        data = parsed(read_text(study.path), study.path)
        known.update(
            column
            for kind, several in SEVERAL.items()
            for name in data.get(several, {})
            for column in own_columns(kind, name)
        )
    return tuple(name for name in table.columns if name and name not in known)
