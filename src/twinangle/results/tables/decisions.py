"""Tables of what people decided, and of the result without what they chose."""

from __future__ import annotations

from twinangle.results.decided import DecisionRecord, WithoutDecisions
from twinangle.results.tables.columns import Table

DECISION_TABLES = (
    Table(
        "decisions",
        "decisions of people on recordings, one a row, and whether each counts",
        DecisionRecord,
        lambda results: results.decisions,
    ),
    Table(
        "without_decisions",
        "main numbers with and without decisions on cycles and recordings",
        WithoutDecisions,
        lambda results: results.without_decisions,
    ),
)
