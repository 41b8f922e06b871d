"""Pages over all trials: limits of agreement and conditions."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.equivalence import Equivalence
from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.report.blocks import (
    Block,
    Figures,
    bullets,
    figure,
    heading,
    table,
    text,
    with_interval,
)
from twinangle.report.content_depth import (
    along_cycle_blocks,
    corrected_blocks,
    published_blocks,
    verdict_blocks,
    zeroed_blocks,
)
from twinangle.report.content_further import adjusted_blocks, forms_blocks
from twinangle.report.figures_study import quantity_name
from twinangle.report.grouping import distinct
from twinangle.report.wording import NO_MARGIN, NOTHING, number, stated
from twinangle.results import Pooled, StudyLimits, StudyResults, given, named


def limits_table(results: StudyResults) -> Block:
    """Return the pooled limits, with the verdict where a margin was stated, a row a quantity."""
    claims = dict(named(results.equivalence))
    rows = []
    for pooled in results.limits:
        both = pooled.given
        counts, numbers = NOTHING, [NOTHING] * 3
        if both is not None:
            found = both.limits
            counts = f"{found.n_participants} / {found.n_observations}"
            numbers = [
                with_interval(found.bias, found.bias_ci),
                with_interval(found.lower, found.lower_ci),
                with_interval(found.upper, found.upper_ci),
            ]
        key = (pooled.procedure, pooled.condition, pooled.quantity)
        rows.append(
            [
                pooled.condition or NOTHING,
                pooled.procedure,
                quantity_name(pooled.quantity),
                counts,
                *numbers,
                *(_judged(claims.get(key)) if claims else []),
            ]
        )
    margin = results.options.margin_deg
    head = [f"Margin ±{stated(margin)}°", "Inside from ±"] if claims and margin is not None else []
    return table(
        ("Condition", "Procedure", "Quantity", "People / cycles", "Bias", "Lower limit",
         "Upper limit", *head),
        rows,
        words=3,
        caption="Bias and limits of agreement, wearable − reference, in degrees, with "
        f"{results.options.level} intervals in brackets. {_held_against(head)}",
    )  # fmt: skip


def _judged(claim: Equivalence | None) -> list[str]:
    """Return the cells of a verdict."""
    if claim is None:
        return [NOTHING, NOTHING]
    return [claim.verdict, number(claim.inside_from_shown)]


def _held_against(head: Sequence[str]) -> str:
    """Say what the last column means, or that there is nothing to hold the limits against."""
    if not head:
        return f"{NO_MARGIN.capitalize()}, so they are tested against none."
    return (
        f"{head[0]}, the margin set in the study file: inside, both limits and their intervals lie "
        "within it; outside, a limit and its whole interval lie beyond it; undecided, neither. "
        "Undecided is no proof of either. Inside from: the smallest margin within which both "
        "limits and their intervals lie."
    )


def limits_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the Bland-Altman plots and what they rest on."""
    if not results.limits:
        return []
    blocks: list[Block] = []
    names = [name for name in figures if name.startswith("limits_")]
    for name in names:
        blocks += figure(name, figures)
    blocks.append(limits_table(results))
    blocks += [
        *published_blocks(results),
        *zeroed_blocks(results),
        *corrected_blocks(results),
        *verdict_blocks(results),
    ]
    known = [found.limits for _, found in given(results.limits)]
    if known:
        blocks.append(_components_table(results.limits))
        blocks.append(heading("What the limits rest on"))
        lines = [line for limits in known for line in (_how(limits), *limits.assumptions)]
        blocks.append(bullets(distinct(lines)))
    said = _notes(results.limits)
    blocks += [heading("Notes"), bullets(said)] if said else []
    return [*blocks, *along_cycle_blocks(results, figures), *forms_blocks(results)]


def _notes(limits: Sequence[Pooled[StudyLimits]]) -> list[str]:
    """Return every note once, with the limits it is about unless it is about all."""
    found: dict[str, list[str]] = {}
    for pooled in limits:
        quantity = quantity_name(pooled.quantity).lower()
        where = ", ".join(part for part in (pooled.condition, pooled.procedure, quantity) if part)
        both = pooled.given
        notes = (
            (f"not given: {pooled.absent.reason}",)
            if pooled.absent is not None
            else (both.note, *both.limits.notes)
            if both is not None
            else ()
        )
        for line in distinct(line for line in notes if line):
            found.setdefault(line, []).append(where)
    return [
        line if len(places) == len(limits) else f"{'; '.join(places)}: {line}"
        for line, places in found.items()
    ]


def _components_table(limits: Sequence[Pooled[StudyLimits]]) -> Block:
    """Return the variation behind the limits."""
    rows = [
        [
            pooled.condition or NOTHING,
            pooled.procedure,
            quantity_name(pooled.quantity),
            number(found.limits.sd_between),
            number(found.limits.sd_within),
            number(found.limits.sd),
            number(found.limits.skewness),
        ]
        for pooled, found in given(limits)
    ]
    return table(
        ("Condition", "Procedure", "Quantity", "SD between", "SD within", "SD", "Skewness"),
        rows,
        words=3,
        caption="SD of the differences between participants, within them, and of a single "
        "difference, in degrees; skewness of the participants' means.",
    )


def _how(limits: LimitsOfAgreement) -> str:
    """Say how limits and intervals came about."""
    return (
        f"Limits for {100 * limits.coverage:g} % of differences: {limits.method}; this form, "
        f"because {limits.why}. The bias weights {limits.weighting}. "
        f"{100 * limits.confidence:g} % intervals: {limits.interval_method}."
    )


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
            with_interval(item.windows_ratio, item.windows_ratio_ci),
            _cycles_and_serial(item),
        ]
        for (procedure, _, quantity), item in named(results.conditions)
    ]
    blocks = [
        text(
            "Where there is no reference, only the wearable's variability between cycles can be "
            "compared: it says how repeatable walking and wearable are together, not how right the "
            "angle is."
        ),
        *figure("conditions", figures),
        table(
            ("Procedure", "Quantity", "Comparison", "People", "Difference", "Ratio",
             "Ratio over windows", "Window; r"),
            rows,
            words=3,
            caption=f"Paired within participants, {results.options.level} intervals in brackets; "
            "differences in degrees. "
            "SDs are taken over equally many consecutive cycles in both conditions (the window, "
            "those of a participant's shortest trial) and freed of what an SD over so few cycles "
            "falls short at the serial correlation r of the conditions, in the order of the "
            "comparison. Ratio over windows: the same without r, of the SD over that many cycles.",
        ),
    ]  # fmt: skip
    said = distinct(
        line
        for _, item in given(results.conditions)
        for line in (item.note, *item.assumptions)
        if line
    )
    blocks += [bullets(said)] if said else []
    return [*blocks, *adjusted_blocks(results)]


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
