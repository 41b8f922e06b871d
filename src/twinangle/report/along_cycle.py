"""Limits along the cycle, and where the instruments differ."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, bullets, figures_named, heading, table
from twinangle.results import StudyResults, given, named
from twinangle.results.grouping import distinct
from twinangle.wording import NOTHING, number


def along_cycle_blocks(results: StudyResults, figures: Figures) -> list[Block]:
    """Return limits along the cycle, and where the instruments differ."""
    if not given(results.along_cycle):
        return []
    rows = []
    for (procedure, condition, _), both in named(results.along_cycle):
        limits, difference = both.limits, both.difference
        n = limits.bias.size - 1
        regions = [
            f"{100 * first / n:.0f} to {100 * last / n:.0f} %" for first, last in difference.regions
        ]
        rows.append(
            [
                condition or NOTHING,
                procedure,
                "; ".join(regions) or "nowhere",
                f"{limits.n_participants} / {limits.n_curves}",
                number(difference.alpha, 3),
                number(difference.smallest_p, 4),
            ]
        )
    return [
        heading("Along the cycle"),
        *figures_named(figures, "along-cycle"),
        table(
            ("Condition", "Procedure", "Where the instruments differ", "People / cycles",
             "Family-wise α", "Smallest p"),
            rows,
            words=3,
            caption="Where along the cycle the mean difference is not zero, the whole cycle tested "
            "as one family; the smallest p is what so few participants can give.",
        ),
        bullets(distinct(
            line for _, both in given(results.along_cycle) for line in both.limits.assumptions
        )),
    ]  # fmt: skip
