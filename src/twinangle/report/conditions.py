"""Conditions compared: tables, at equal covariates too, and their paragraph of the methods."""

from __future__ import annotations

from twinangle.agreement.conditions import ConditionDifference
from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    bullets,
    described,
    figure,
    heading,
    table,
    text,
    with_interval,
)
from twinangle.results import StudyResults, absences, given, named
from twinangle.results.grouping import distinct
from twinangle.wording import NOTHING, listing, number, quantity_name, span

_COVARIATES = {"speed_m_s": "walking speed", "stride_time_s": "stride time"}


def _covariate(results: StudyResults, name: str) -> str:
    """Return what was held equal; where the movement is no walking, a cycle is no stride."""
    if name == "stride_time_s" and not results.walking:
        return "cycle time"
    return _COVARIATES.get(name, name)


def conditions_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the comparison of conditions."""
    if not given(results.conditions):
        return []
    rows = [
        [
            procedure,
            _quantity_of_condition(quantity),
            f"{item.condition} − {item.against}",
            str(item.n_participants),
            with_interval(item.difference, item.difference_ci),
            with_interval(item.ratio, item.ratio_ci),
        ]
        for (procedure, _, quantity), item in named(results.conditions)
    ]
    return [
        text(
            "Where there is no reference, only the wearable's variability between cycles can be "
            "compared: it says how repeatable movement and wearable are together, not how right "
            "the angle is."
        ),
        *figure("conditions", figures),
        table(
            ("Procedure", "Quantity", "Comparison", "People", "Difference", "Ratio"),
            rows,
            words=3,
            caption=f"Paired within participants, {results.options.level} intervals in brackets; "
            "differences in degrees. "
            "SDs are taken over equally many consecutive cycles in both conditions and freed of "
            "what an SD over so few cycles falls short at their serial correlation. How many "
            "cycles, and the ratio at equal speed, are in the supplement.",
        ),
    ]


def further_conditions_section(results: StudyResults) -> list[Block]:
    """Return what the supplement says of conditions: windows, assumptions, equal covariates."""
    if not given(results.conditions):
        return []
    rows = [
        [
            procedure,
            _quantity_of_condition(quantity),
            f"{item.condition} − {item.against}",
            with_interval(item.windows_ratio, item.windows_ratio_ci),
            _cycles_and_serial(item),
        ]
        for (procedure, _, quantity), item in named(results.conditions)
    ]
    columns = (
        Column("Procedure"),
        Column("Quantity"),
        Column("Comparison"),
        Column(
            "Ratio over windows",
            "ratio over windows: of the SDs over that many cycles, not freed of their serial "
            "correlation",
        ),
        Column(
            "Window; r",
            "window: consecutive cycles of a participant's shortest trial; r: serial correlation "
            "of the conditions, in the order of the comparison",
        ),
    )
    said = distinct(
        line
        for _, item in given(results.conditions)
        for line in (item.note, *item.assumptions)
        if line
    )
    lead = f"Paired within participants, {results.options.level} intervals in brackets."
    return [
        *described(lead, columns, rows, words=3),
        *([bullets(said)] if said else []),
        *adjusted_blocks(results),
    ]


def _cycles_and_serial(item: ConditionDifference) -> str:
    """Return over how many cycles SDs were taken, and both conditions' serial correlations."""
    if not item.most_window:
        return NOTHING
    ends = distinct((str(item.fewest_window), str(item.most_window)))
    serial = f"{number(item.serial)}, {number(item.serial_against)}"
    return f"{'-'.join(ends)}; {serial}"


def _quantity_of_condition(quantity: str) -> str:
    """Return the words for what conditions are compared by."""
    known = {
        "wearable_sd_deg": "wearable's SD over cycles",
        "reference_sd_deg": "reference's SD over cycles",
    }
    return known.get(quantity, quantity_name(quantity))


def adjusted_blocks(results: StudyResults) -> list[Block]:
    """Return the comparison of conditions at equal covariates."""
    found = named(results.conditions_adjusted)
    absent = distinct(
        f"Conditions at equal covariates{f' ({each.part})' if each.part else ''}: {each.reason}"
        for _, each in absences(results.conditions_adjusted)
    )
    cycle_time = _covariate(results, "stride_time_s")
    title = heading(f"At equal speed and {cycle_time}")
    if not found:
        return [title, bullets(absent)] if absent else []
    rows = [
        [
            procedure,
            f"{ratio.condition} / {ratio.against}",
            _covariate(results, ratio.covariates),
            f"{ratio.n_participants} / {ratio.n_trials}",
            with_interval(ratio.ratio, ratio.ratio_ci),
            number(100 * ratio.shared, 0),
        ]
        for (procedure, *_), ratio in found
    ]
    said = [line for _, ratio in found for line in (*ratio.notes, *ratio.assumptions)]
    return [
        title,
        text(
            "People move faster or slower in one place than in another, and the variability "
            "between cycles changes with it. A mixed model of the logarithm of the wearable's SD, "
            "with participants as random effect, gives the ratio that is left at equal speed, or "
            f"at equal {cycle_time}."
        ),
        table(
            ("Procedure", "Conditions", "Held equal", "People / trials", "Ratio of SDs",
             "Shared, %"),
            rows,
            words=3,
            caption="Ratio of the wearable's SDs over cycles, "
            f"{results.options.level} interval in brackets. Shared: how much of the change of "
            "condition the covariate goes along with; near 100 the two "
            "cannot be told apart.",
        ),
        bullets([*distinct(said), *absent]),
    ]  # fmt: skip


def conditions_paragraph(results: StudyResults) -> str:
    """Say how conditions were compared."""
    if not given(results.conditions):
        return ""
    pairs = distinct(
        f"{item.condition} with {item.against}" for _, item in given(results.conditions)
    )
    people = span((float(item.n_participants) for _, item in given(results.conditions)), 0)
    return (
        f"Conditions were compared ({listing(pairs)}) by the wearable's variability between "
        f"cycles, paired within participants ({people} participants), as a difference and as a "
        f"ratio with {results.options.level} intervals.{_windows(results)}"
        f"{_adjusted(results)}"
    )


def _windows(results: StudyResults) -> str:
    """Say how standard deviations over unlike numbers of cycles were made comparable."""
    found = [item for _, item in given(results.conditions) if item.most_window]
    if not found:
        return ""
    fewest, most = min(i.fewest_window for i in found), max(i.most_window for i in found)
    over = f"{fewest}" if fewest == most else f"{fewest} to {most}"
    alone = any(item.interval_over == "cycles of one participant" for item in found)
    how = (
        "intervals are over the one participant's cycles"
        if alone
        else "intervals are those of the delete-one-participant jackknife"
    )
    return (
        f" Standard deviations were taken over all runs of {over} consecutive cycles, as many in "
        "both conditions of a participant, and freed of what a standard deviation over so few "
        "cycles falls short at each condition's serial correlation (first order); "
        f"{how} (own combination, coverage simulated)."
    )


def _adjusted(results: StudyResults) -> str:
    """Say what was held equal between conditions, and how."""
    names = distinct(
        _covariate(results, r.covariates) for _, r in given(results.conditions_adjusted)
    )
    if not names:
        return ""
    return (
        f" The ratio at equal {listing(names)} came from mixed models of its logarithm with "
        "participants as random effect, fitted by restricted maximum likelihood."
    )
