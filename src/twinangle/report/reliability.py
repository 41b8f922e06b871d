"""Reliability: correlations, errors of measurement, and their paragraph of the methods."""

from __future__ import annotations

from twinangle.options import Options
from twinangle.report.blocks import (
    NAMED,
    Block,
    bullets,
    heading,
    named_cells,
    table,
    text,
    with_interval,
)
from twinangle.report.multiple_correlation import multiple_correlation_blocks
from twinangle.results import Reliability, StudyResults
from twinangle.results.grouping import distinct
from twinangle.wording import NOTHING, listing, number

_DESIGNS = {
    "both instruments": "Between the two instruments",
    "sessions": "Test and retest: between sessions",
    "trials of one session": "Between the trials of one session",
}
_SHOWN_FORMS = ("ICC(2,1)", "ICC(3,1)")  # all six are in tables/reliability.csv


def reliability_section(results: StudyResults) -> list[Block]:
    """Return intraclass correlations, measurement error, concordance, multiple correlation."""
    parts = results.further.reliability
    blocks: list[Block] = []
    for design in distinct(item.design for item in parts):
        several = [item for item in parts if item.design == design]
        blocks += [
            heading(_DESIGNS.get(design, design)),
            *_reliability_tables(several, results.options),
        ]
    blocks += multiple_correlation_blocks(results)
    if not any(trial.status == "ok" for trial in results.trials):
        return []
    lead = text(
        "Reliability says how well participants can be told apart, or how well a number repeats. "
        "It is not agreement: it grows with how much the participants differ, whatever the error. "
        "Values are means over each recording's kept cycles."
    )
    forms = {one.form: one.full_name for item in parts for one in item.intraclass}
    said = [f"{form}: {forms[form]}." for form in _SHOWN_FORMS if form in forms]
    said += distinct(
        line for item in parts if item.error is not None for line in item.error.assumptions
    )
    absent = [
        f"{part} is not given: {reason}"
        for part, reason in results.further.not_given
        if part.startswith(("Reliability", "Detectable"))
    ]
    notes = [*said, *absent]
    if parts:
        notes.append("All six forms of the intraclass correlation are in tables/reliability.csv.")
    if not (blocks or notes):
        return []
    return [lead, *blocks, bullets(notes)] if notes else [lead, *blocks]


def _reliability_tables(parts: list[Reliability], options: Options) -> list[Block]:
    icc = [
        [
            *named_cells(item),
            item.instrument,
            f"{item.intraclass[0].n_participants} × {item.intraclass[0].n_measurements}",
            *(
                with_interval(one.value, one.value_ci)
                for one in item.intraclass
                if one.form in _SHOWN_FORMS
            ),
            NOTHING
            if item.concordance is None
            else with_interval(item.concordance.value, item.concordance.value_ci),
        ]
        for item in parts
    ]
    error = [
        [
            *named_cells(item),
            item.instrument,
            with_interval(found.sem, found.sem_ci),
            number(found.sem_agreement),
            with_interval(found.mdc, found.mdc_ci),
        ]
        for item in parts
        if (found := item.error) is not None
    ]
    columns = distinct(", ".join(item.columns) for item in parts)
    correlations = table(
        (*NAMED, "Values of", "Size", *_SHOWN_FORMS, "Lin's concordance"),
        icc,
        words=4,
        caption=f"Intraclass and concordance correlations; columns compared: "
        f"{'; '.join(columns)}. Size: people × columns; {options.level} intervals in brackets.",
    )
    if not error:
        return [correlations]
    return [
        correlations,
        table(
            (*NAMED, "Values of", "SEM", "SEM with shift", "Detectable change"),
            error,
            words=4,
            caption="Standard error of measurement without and with the shift between the columns, "
            f"and the smallest change that is one with {options.level} confidence, of one "
            f"instrument measured again; degrees, {options.level} intervals in brackets.",
        ),
    ]


def reliability_paragraph(results: StudyResults) -> str:
    """Say which intraclass correlations were computed, over what."""
    parts = results.further.reliability
    if not parts:
        return ""
    designs = listing(distinct(item.design for item in parts))
    again = listing(distinct(item.design for item in parts if item.error is not None))
    error = (
        " by the standard error of measurement and the minimal detectable change of one instrument "
        f"over {again} (Weir 2005),"
        if again
        else ""
    )
    return (
        f"Reliability over {designs} was described by the intraclass correlations ICC(2,1) "
        "(two-way random effects, absolute agreement, single measurement) and ICC(3,1) (two-way "
        "mixed effects, consistency, single measurement; Shrout & Fleiss 1979, intervals "
        f"McGraw & Wong 1996),{error} and by the concordance correlation (Lin 1989); none of them "
        "is a measure of agreement."
    )
