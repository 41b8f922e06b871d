"""The calibration file that `[reference] calibration` names."""

from __future__ import annotations

import csv
from pathlib import Path

from twinangle.errors import StudyError, closed
from twinangle.naming import listed
from twinangle.signals.straight_line import Calibration, fit_calibration
from twinangle.study.cells import finite_number

COLUMNS = ("value", "angle_deg")


def read_calibration(path: Path, name: str) -> Calibration:
    """Read readings at known angles and fit them.

    Parameters
    ----------
    path : Path
        A table with the columns `value` and `angle_deg`.
    name : str
        How messages name it.

    Raises
    ------
    StudyError
        If the file or a column is missing, a cell holds no number, or the points do not make a
        line.
    """
    values, angles = read_points(path, name)
    try:
        return fit_calibration(values, angles)
    except ValueError as error:
        raise StudyError(f"calibration {name!r}: {error}") from error


def read_points(path: Path, name: str) -> tuple[list[float], list[float]]:
    """Return the readings and the angles they were taken at.

    Raises
    ------
    StudyError
        If the file or a column is missing, or a cell holds no number.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise StudyError(f"calibration {name!r} cannot be read: {closed(error)}") from error
    delimiter = max(",;\t", key=(lines[0] if lines else "").count)
    rows = csv.DictReader(lines, delimiter=delimiter)
    found = [column.strip() for column in rows.fieldnames or ()]
    rows.fieldnames = found
    missing = [column for column in COLUMNS if column not in found]
    if missing:
        raise StudyError(
            f"calibration {name!r}: lacks the column(s) {listed(missing)}; found {listed(found)}."
        )
    values: list[float] = []
    angles: list[float] = []
    for row in rows:
        value, angle = (finite_number(row[column] or "", delimiter) for column in COLUMNS)
        if value is None or angle is None:
            raise StudyError(
                f"calibration {name!r}, row {rows.line_num}: holds {row['value']!r} and "
                f"{row['angle_deg']!r}; accepted: two numbers."
            )
        values.append(value)
        angles.append(angle)
    return values, angles
