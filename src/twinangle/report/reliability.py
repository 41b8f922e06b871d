"""Reliability: correlations, errors of measurement, and their paragraph of the methods."""

from __future__ import annotations

from twinangle.options import Options
from twinangle.report.blocks import (
    NAMED,
    Block,
    Figures,
    bullets,
    figures_named,
    heading,
    named_cells,
    table,
    text,
    with_interval,
)
from twinangle.report.multiple_correlation import multiple_correlation_blocks
from twinangle.results import Absent, Pooled, Reliability, StudyResults, absences, given
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct
from twinangle.results.session_words import MAIN_FORM, session_sentence
from twinangle.wording import NOTHING, listing, quantity_name

_DESIGNS = {
    "both instruments": "Between the two instruments",
    "sessions": "Test and retest: between sessions",
    "trials of one session": "Between the trials of one session",
}
_SHOWN_FORMS = ("ICC(2,1)", "ICC(3,1)")  # all six are in tables/reliability.csv


def reliability_section(results: StudyResults) -> list[Block]:
    """Return intraclass correlations, measurement error, concordance, multiple correlation."""
    parts = given(results.reliability)
    blocks: list[Block] = []
    for design in distinct(found.design for _, found in parts):
        several = [each for each in parts if each[1].design == design]
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
    forms = {one.form: one.full_name for _, found in parts for one in found.intraclass}
    said = [f"{form}: {forms[form]}." for form in _SHOWN_FORMS if form in forms]
    said += distinct(
        line
        for _, found in parts
        if not isinstance(found.error, Absent)
        for line in found.error.assumptions
    )
    absent = distinct(
        [
            *(
                f"Reliability over {each.part} is not given: {each.reason}"
                for _, each in absences(results.reliability)
            ),
            *(
                f"Left out of the reliability over {found.design}: {line}."
                for _, found in parts
                for line in found.left_out
            ),
            *(
                f"Detectable change between the instruments is not given: {found.error.reason}"
                for _, found in parts
                if isinstance(found.error, Absent)
            ),
        ]
    )
    notes = [*said, *absent]
    if parts:
        notes.append("All six forms of the intraclass correlation are in tables/reliability.csv.")
    if not (blocks or notes):
        return []
    return [lead, *blocks, bullets(notes)] if notes else [lead, *blocks]


def sessions_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return test and retest of the main procedure; none where nobody came twice."""
    main = answer_of(results).procedure
    parts = [
        (item, found)
        for item, found in given(results.reliability)
        if found.design == "sessions" and item.procedure == main
    ]
    if not parts:
        return []
    rows = [
        [
            item.condition or NOTHING,
            quantity_name(item.quantity),
            found.instrument,
            f"{len(found.people)} × {len(found.columns)}",
            with_interval(found.form(MAIN_FORM).value, found.form(MAIN_FORM).value_ci),
            with_interval(found.error.sem, found.error.sem_ci),
            with_interval(found.error.mdc, found.error.mdc_ci),
            with_interval(found.error.sem_agreement, found.error.sem_agreement_ci),
            with_interval(found.error.shift, found.error.shift_ci),
        ]
        for item, found in parts
        if not isinstance(found.error, Absent)
    ]
    shown = table(
        ("Condition", "Quantity", "Values of", "Size", MAIN_FORM, "SEM", "Detectable change",
         "SEM with shift", "Shift"), rows, words=3,
        caption=f"Test and retest over sessions, {main}. Size: participants × sessions. "
        f"{MAIN_FORM}: two-way random effects, absolute agreement, single measurement. SEM: "
        "standard error of measurement, without and with the shift between sessions that all "
        "participants share, of which two sessions tell little. Shift: last session minus "
        "first, mean over participants of their own, paired; degrees, "
        f"{results.options.level} intervals over participants in brackets.",
    )  # fmt: skip
    left = distinct(
        f"Left out{f' under “{item.condition}”' if item.condition else ''}: {line}."
        for item, found in parts
        for line in found.left_out
    )
    return [
        *[text(said) for said in (session_sentence(results),) if said],
        *figures_named(figures, "sessions"),
        shown,
        *([bullets(left)] if left else []),
    ]


def _reliability_tables(
    parts: list[tuple[Pooled[Reliability], Reliability]], options: Options
) -> list[Block]:
    icc = [
        [
            *named_cells(item),
            both.instrument,
            f"{both.intraclass[0].n_participants} × {both.intraclass[0].n_measurements}",
            *(
                with_interval(one.value, one.value_ci)
                for one in both.intraclass
                if one.form in _SHOWN_FORMS
            ),
            NOTHING
            if both.concordance is None
            else with_interval(both.concordance.value, both.concordance.value_ci),
        ]
        for item, both in parts
    ]
    error = [
        [
            *named_cells(item),
            both.instrument,
            with_interval(found.sem, found.sem_ci),
            with_interval(found.mdc, found.mdc_ci),
            with_interval(found.sem_agreement, found.sem_agreement_ci),
            with_interval(found.mdc_agreement, found.mdc_agreement_ci),
            with_interval(found.shift, found.shift_ci),
        ]
        for item, both in parts
        if not isinstance(found := both.error, Absent)
    ]
    columns = distinct(", ".join(both.columns) for _, both in parts)
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
            (
                *NAMED,
                "Values of",
                "SEM",
                "Detectable change",
                "SEM with shift",
                "Change with shift",
                "Shift",
            ),
            error,
            words=4,
            caption="Standard error of measurement, and the smallest change that is one with "
            f"{options.level} confidence, of one instrument measured again: without and with the "
            "shift between the columns that all participants share, of which two columns tell "
            "little. Shift: last column minus first, mean over participants of their own, paired; "
            f"degrees, {options.level} intervals over participants in brackets.",
        ),
    ]


def reliability_paragraph(results: StudyResults) -> str:
    """Say which intraclass correlations were computed, over what."""
    parts = [found for _, found in given(results.reliability)]
    if not parts:
        return ""
    designs = listing(distinct(item.design for item in parts))
    again = listing(distinct(item.design for item in parts if not isinstance(item.error, Absent)))
    error = (
        " by the standard error of measurement and the minimal detectable change of one instrument "
        f"over {again} (Weir 2005; with the shift between the columns counted, intervals by "
        "the modified large sample method, Graybill & Wang 1980),"
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
