"""The cells of the tables that people write by hand."""

from __future__ import annotations

import re

from twinangle.checks import LARGEST

_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")


def finite_number(text: str, delimiter: str) -> float | None:
    """Return a finite number, its decimal comma understood where commas do not part the cells.

    Parameters
    ----------
    text : str
        The cell.
    delimiter : str
        What parts the cells of the table.

    Returns
    -------
    float or None
        None where the cell holds anything else, or a number beyond what is computed with.
    """
    cell = text.strip()
    if delimiter != "," and _DECIMAL_COMMA.fullmatch(cell):
        cell = cell.replace(",", ".")
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if abs(value) <= LARGEST else None
