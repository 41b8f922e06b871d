"""How the differences are distributed, as a figure."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, figure
from twinangle.results import StudyResults


def distribution_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the histogram and the normal quantile plot of the differences."""
    del results  # the figure says whose they are
    return figure("distribution", figures)
