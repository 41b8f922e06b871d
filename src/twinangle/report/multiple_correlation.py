"""The coefficient of multiple correlation, as a range over recordings."""

from __future__ import annotations

import math

from twinangle.report.blocks import Block, Column, described, heading, text
from twinangle.results import StudyResults
from twinangle.wording import NOTHING, span


def multiple_correlation_blocks(results: StudyResults) -> list[Block]:
    """Return the coefficient of multiple correlation, as a range over recordings."""
    kinds = {
        "instruments_within_cycles": "wearable and reference, within each cycle",
        "wearable_between_cycles": "wearable, between cycles",
        "reference_between_cycles": "reference, between cycles",
    }
    rows = []
    worked = [t for t in results.trials if t.status == "ok"]
    groups = dict.fromkeys((t.condition, t.procedure) for t in worked)
    for condition, procedure in groups:
        of_group = [t for t in worked if (t.condition, t.procedure) == (condition, procedure)]
        for key, words in kinds.items():
            values = [
                getattr(t.multiple_correlation, key)
                for t in of_group
                if t.multiple_correlation is not None
                and (key.startswith("wearable") or t.reference_variability is not None)
            ]
            if values:
                undefined = sum(not math.isfinite(value) for value in values)
                rows.append(
                    [condition or NOTHING, procedure, words, str(len(values)), span(values, 3),
                     str(undefined) if undefined else ""]
                )  # fmt: skip
    if not rows:
        return []
    return [
        heading("Coefficient of multiple correlation"),
        text(
            "Asked for by some journals; no measure of agreement. It grows with the range of the "
            "movement whatever the error, mixes offset, size, timing and noise, and does not exist "
            "where its square is negative. It has no interval that is known to hold."
        ),
        *described(
            "Smallest to largest value over recordings.",
            (
                *map(Column, ("Condition", "Procedure", "Between", "Recordings", "Coefficient")),
                Column("Undefined", "undefined: recordings in which it does not exist"),
            ),
            rows,
            words=3,
        ),
    ]
