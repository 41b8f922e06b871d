"""The table that forces cycles in or out by hand, each with its reason."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Literal, cast

from twinangle.checks import LARGEST
from twinangle.errors import StudyError
from twinangle.naming import holds_a_row
from twinangle.study.study_file import Study
from twinangle.study.trial_row import IDENTIFIERS, Trial

Override = tuple[float, Literal["include", "exclude"], str]
DECISIONS = ("include", "exclude")
NEEDED = ("time_s", "decision", "reason")


def read_overrides(study: Study, trial: Trial) -> tuple[Override, ...]:
    """Return what the table of `[cycles] overrides` says of one trial.

    Parameters
    ----------
    study : Study
        Whose `cycles.overrides` names a CSV table in the study folder, or None.
    trial : Trial
        The recording.

    Returns
    -------
    tuple of (float, "include" or "exclude", str)
        A time within the cycle on the wearable's clock, the decision, the reason.

    Raises
    ------
    StudyError
        If the table cannot be read, lacks a column, names a trial that the study does not have,
        or a row holds no number, no decision or no reason.

    Notes
    -----
    Columns: `time_s`, `decision`, `reason`, and as many of `participant`, `session`, `condition`,
    `trial` and `side` as single out the trial; an identifier that is absent or empty fits all.
    """
    name = study.cycles.overrides
    if name is None:
        return ()
    found = []
    for number, row in _rows(study.folder / name, name):
        where = f"{name}, row {number}"
        if not _fits_any(row, study):
            raise StudyError(f"{where}: fits no trial of the trials table by its identifiers.")
        if _fits(row, trial):
            found.append(_override(row, where))
    return tuple(found)


def first_stray(study: Study) -> int | None:
    """Return the first row of that table that fits no trial, for which every trial is refused.

    It is all that one trial's overrides depend on beside the table and the trial. None without such
    a row, and where the table cannot be read.
    """
    name = study.cycles.overrides
    if name is None:
        return None
    try:
        rows = _rows(study.folder / name, name)
    except StudyError:
        return None
    return next((number for number, row in rows if not _fits_any(row, study)), None)


def _rows(path: Path, name: str) -> list[tuple[int, dict[str, str]]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream)
            columns = reader.fieldnames or []
            missing = [column for column in NEEDED if column not in columns]
            if missing:
                raise StudyError(
                    f"{name}: lacks the column(s) {', '.join(missing)}; it has "
                    f"{', '.join(columns) or 'none'}."
                )
            rows = [
                (number, {key: (text or "").strip() for key, text in row.items() if key})
                for number, row in enumerate(reader, start=2)
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise StudyError(f"[cycles] overrides: {name} cannot be read ({error}).") from None
    for number, row in rows:
        if holds_a_row([*row.values()], ",", len(columns)):
            raise StudyError(
                f"{name}, row {number}: a quotation mark opens a cell there and is not closed in "
                "the same row, so that the rows after it would be lost; take it out, or close it."
            )
    return rows


def _fits_any(row: Mapping[str, str], study: Study) -> bool:
    return any(_fits(row, trial) for trial in study.trials)


def _fits(row: Mapping[str, str], trial: Trial) -> bool:
    return all(row.get(key, "") in ("", getattr(trial, key)) for key in IDENTIFIERS)


def _override(row: Mapping[str, str], where: str) -> Override:
    try:
        time_s = float(row["time_s"])
    except ValueError:
        time_s = math.nan
    if not abs(time_s) <= LARGEST:
        raise StudyError(
            f"{where}, column 'time_s': found {row['time_s']!r}; accepted: a time within the "
            "cycle, in seconds on the wearable's clock."
        )
    if row["decision"] not in DECISIONS:
        raise StudyError(
            f"{where}, column 'decision': found {row['decision']!r}; accepted: "
            f"{' or '.join(DECISIONS)}."
        )
    if not row["reason"]:
        raise StudyError(f"{where}, column 'reason': is empty; the report prints the reason.")
    return time_s, cast(Literal["include", "exclude"], row["decision"]), row["reason"]
