"""A paper's table as CSV: the cells as printed, its title and notes in the file of captions."""

from __future__ import annotations

import csv
import io

from twinangle.report.paper.tables import PaperTable
from twinangle.results.tables.csv_files import csv_cell


def as_csv(table: PaperTable) -> str:
    """Return the head and the rows; what a spreadsheet would take for a formula is made text."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    for row in (table.head, *table.rows):
        writer.writerow([csv_cell(cell) for cell in row])
    return held.getvalue()
