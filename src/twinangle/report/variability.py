"""Variability between cycles over participants: its table."""

from __future__ import annotations

from twinangle.report.blocks import Block, added_sd, table, with_interval
from twinangle.results import StudyResults, named
from twinangle.wording import NOTHING


def variability_table(results: StudyResults) -> list[Block]:
    """Return the per-cycle SDs of both instruments over participants, with their intervals."""
    rows = [
        [
            condition or NOTHING,
            procedure,
            with_interval(found.test_sd, found.test_sd_ci),
            with_interval(found.reference_sd, found.reference_sd_ci),
            with_interval(found.difference, found.difference_ci),
            with_interval(found.ratio, found.ratio_ci),
            added_sd(found.added_sd, found.added_sd_ci),
        ]
        for (procedure, condition, _), found in named(results.variability)
    ]
    if not rows:
        return []
    return [
        table(
            ("Condition", "Procedure", "SD wearable", "SD reference", "Difference", "Ratio",
             "SD added"),
            rows,
            words=2,
            caption="SD over cycles where there is a reference, means over participants with "
            f"{results.options.level} intervals over participants, paired; in degrees, freed of "
            "what few cycles and their serial correlation take from an SD. SD added: what the "
            "wearable adds, "
            "√(w² − r²), none where it varies less than the reference.",
        )
    ]  # fmt: skip
