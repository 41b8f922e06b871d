"""Variability between cycles over participants: its table."""

from __future__ import annotations

from twinangle.report.blocks import (
    Block,
    Column,
    added_sd,
    against_one,
    described,
    with_interval,
)
from twinangle.results import StudyResults, named
from twinangle.wording import NOTHING, SD_FREED


def variability_table(results: StudyResults, against: str = "", *, rest: str = "") -> list[Block]:
    """Return the per-cycle SDs of both instruments over participants, with their intervals.

    Of several references `against` alone; what `rest` says stands behind the caption then.
    """
    several = against_one(named(results.variability), against)
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
        for (procedure, condition, _), found in several
    ]
    return described(
        "SD over cycles where there is a reference, means over participants with "
        f"{results.options.level} intervals over participants, paired; in degrees, each "
        f"{SD_FREED}.",
        (
            Column("Condition"),
            Column("Procedure"),
            Column("SD wearable"),
            Column("SD reference"),
            Column("Difference"),
            Column("Ratio"),
            Column(
                "SD added",
                "SD added: what the wearable adds, √(w² − r²), none where it varies less than the "
                "reference",
            ),
        ),
        rows,
        words=2,
        end=rest,
    )
