"""The participants at a glance: their figures, and the means over them."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, figures_beside, figures_named, heading
from twinangle.report.curves import curves_table
from twinangle.report.variability import variability_table
from twinangle.results import StudyResults, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct
from twinangle.under_test import reference_of
from twinangle.wording import file_name, listing


def participants_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return every recording's numbers and mean curves as figures, and the pooled numbers."""
    shown = file_name("group-curves", answer_of(results).condition)
    main = reference_of(answer_of(results).procedure)
    others = [name for name in figures if name.startswith("group-curves") and name != shown]
    return [
        *figures_named(figures, "participants"),
        *figures_named(figures, "mean-curves"),
        *[
            block
            for k in range(0, len(others), 2)
            for block in figures_beside(others[k : k + 2], figures)
        ],
        *curves_table(results, main, rest=_held(results, main)),
        *variability_table(results, main, rest=_held(results, main)),
    ]


def further_participants_section(results: StudyResults) -> list[Block]:
    """Return the pooled numbers against references other than the answer's."""
    blocks: list[Block] = []
    for reference in other_references(results):
        told = _held(results, reference)
        blocks += [heading(f"Against {reference}")]
        blocks += curves_table(results, reference, rest=told)
        blocks += variability_table(results, reference, rest=told)
    return blocks


def other_references(results: StudyResults) -> tuple[str, ...]:
    """Return the references with pooled numbers beside the answer's."""
    main = reference_of(answer_of(results).procedure)
    known = distinct(reference_of(key[0]) for key, _ in named(results.curves))
    return tuple(name for name in known if name != main)


def _held(results: StudyResults, reference: str) -> str:
    """Say against which of several references, and under which one condition, numbers are."""
    if not reference:
        return ""
    main = reference_of(answer_of(results).procedure)
    others = other_references(results) if reference == main else ()
    own = distinct(key[1] for key, _ in named(results.curves) if reference_of(key[0]) == reference)
    under = f" under “{own[0]}”" if len(own) == 1 and own[0] else ""
    rest = f"; against {listing(others)}: in the supplement" if others else ""
    return f"Against {reference}{under}{rest}."
