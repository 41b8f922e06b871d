"""The participants at a glance: their figures, and the means over them."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, figures_beside, figures_named
from twinangle.report.curves import curves_table
from twinangle.report.variability import variability_table
from twinangle.results import StudyResults
from twinangle.results.answer import answer_of
from twinangle.wording import file_name


def participants_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return every recording's numbers and mean curves as figures, and the pooled numbers."""
    shown = file_name("group-curves", answer_of(results).condition)
    others = [name for name in figures if name.startswith("group-curves") and name != shown]
    return [
        *figures_named(figures, "participants"),
        *figures_named(figures, "mean-curves"),
        *[
            block
            for k in range(0, len(others), 2)
            for block in figures_beside(others[k : k + 2], figures)
        ],
        *curves_table(results),
        *variability_table(results),
    ]
