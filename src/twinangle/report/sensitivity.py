"""The limits without each participant in turn: how far they hang on one of them."""

from __future__ import annotations

from twinangle.report.blocks import NAMED, Block, named_cells, table, text
from twinangle.results import StudyResults, given
from twinangle.wording import number


def sensitivity_section(results: StudyResults) -> list[Block]:
    """Return whose absence changes the numbers most, and by how much."""
    rows = [
        [
            *named_cells(pooled),
            found.largest.participant,
            number(found.largest.bias_change, sign=True),
            number(found.largest.lower_change, sign=True),
            number(found.largest.upper_change, sign=True),
        ]
        for pooled, found in given(results.sensitivity)
    ]
    if not rows:
        return []
    return [
        text(
            "Bias and limits of agreement were estimated again without each participant in turn "
            "(all of them: tables/limits_without_each.csv). Nobody is left out of the analysis for "
            "what is seen here."
        ),
        table(
            (*NAMED, "Whose absence changes most", "Bias", "Lower limit", "Upper limit"),
            rows,
            words=4,
            caption="Change, in degrees, once that participant is left out.",
        ),
    ]


def sensitivity_paragraph(results: StudyResults) -> str:
    """Say that participants were left out in turn, and what of multiplicity."""
    text = (
        "Bias and limits were estimated again without each participant in turn, to see how far "
        "they hang on one of them. "
        if given(results.sensitivity)
        else ""
    )
    n = len(given(results.limits))
    if n < 2:
        return text.strip()
    return (
        f"{text}Limits are given {n} times (quantities, procedures, conditions); each interval "
        "holds by itself and none was adjusted for their number, but for the bands along the cycle "
        "and the pairs of procedures, each of which hold together."
    )
