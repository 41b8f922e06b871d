"""Limits of agreement: their tables, what they rest on, their paragraph of the methods."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.limits_found import OWN_INTERVAL, LimitsOfAgreement
from twinangle.report.blocks import (
    NAMED,
    Block,
    Figures,
    bullets,
    figure,
    grouped,
    heading,
    named_cells,
    named_in_words,
    table,
    with_interval,
)
from twinangle.report.equivalence import (
    held_against,
    inside_from_alone,
    verdict_blocks,
    verdict_cells,
)
from twinangle.report.forms import forms_blocks
from twinangle.results import Absent, Pooled, StudyLimits, StudyResults, given, named
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct
from twinangle.wording import NOTHING, file_name, listing, number, stated

ROWS_OF_ALL = 12  # with more rows than this, other procedures' limits stand in the supplement


def limits_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the Bland-Altman plots and limits of the main procedure, and how they came about."""
    if not results.limits:
        return []
    shown = _shown(results)
    more = len(shown) < len(results.limits)
    said = _how_they_came_about(shown)
    said += ["Other procedures' limits are in the supplement."] if more else []
    return [
        *[block for name in _names(results, main=True) for block in figure(name, figures)],
        limits_table(results, shown),
        *zeroed_blocks(results, shown),
        heading("What they rest on"),
        bullets(said),
        *verdict_blocks(results),
    ]


def further_limits_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what the supplement says of limits: other procedures, forms, what is assumed."""
    if not results.limits:
        return []
    shown = _shown(results)
    others = [each for each in results.limits if each not in shown]
    blocks = [block for name in _names(results, main=False) for block in figure(name, figures)]
    if others:
        blocks += [limits_table(results, others, verdicts=False), *zeroed_blocks(results, others)]
        blocks.append(bullets(_how_they_came_about(others)))
    blocks += [*published_blocks(results), *corrected_blocks(results)]
    known = [found.limits for _, found in given(results.limits)]
    if known:
        assumed = distinct(line for limits in known for line in limits.assumptions)
        blocks += [
            heading("Variation behind the limits"),
            _components_table(results.limits),
            heading("What the limits take for granted"),
            bullets(assumed),
        ]
    return [*blocks, *forms_blocks(results)]


def _shown(results: StudyResults) -> list[Pooled[StudyLimits]]:
    """Return the limits that the report has room for: all, or the main procedure's."""
    if len(results.limits) <= ROWS_OF_ALL:
        return list(results.limits)
    main = answer_of(results).procedure
    return [each for each in results.limits if each.procedure == main]


def _names(results: StudyResults, *, main: bool) -> list[str]:
    """Return the names of the figures of the main procedure, or of the others."""
    first = answer_of(results).procedure
    return list(
        distinct(
            file_name("limits", pooled.procedure, pooled.condition)
            for pooled, _ in given(results.limits)
            if (pooled.procedure == first) == main
        )
    )


def limits_table(
    results: StudyResults, several: Sequence[Pooled[StudyLimits]], *, verdicts: bool = True
) -> Block:
    """Return pooled limits, with the verdict where a margin was stated, a row a quantity.

    Without verdicts, and whatever the margin is, the smallest for which it is "inside" stays.
    """
    claims = dict(named(results.equivalence))
    rows = []
    for pooled in several:
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
                *named_cells(pooled),
                counts,
                *numbers,
                *(verdict_cells(claims.get(key)) if claims else []),
            ]
        )
    margin = results.options.margin_deg
    head = [f"Margin ±{stated(margin)}°", "Inside from ±"] if claims and margin is not None else []
    if head and all(row[-1] == NOTHING for row in rows):  # one participant's
        head, rows = head[:1], [row[:-1] for row in rows]
    held = held_against(head)
    if not verdicts:
        rows = [[*row[:7], *row[8:]] for row in rows]
        head, held = head[1:], inside_from_alone(head[1:])
    return table(
        (*NAMED, "People / cycles", "Bias", "Lower limit", "Upper limit", *head),
        rows,
        words=3,
        caption="Bias and limits of agreement, wearable − reference, in degrees, with "
        f"{results.options.level} intervals in brackets. {_weighted(results)}{held}",
    )  # fmt: skip


def _weighted(results: StudyResults) -> str:
    """Say how the bias of limits weights, for a mean of curves or a model weights otherwise."""
    ways = distinct(found.limits.weighting for _, found in given(results.limits))
    return f"The bias weights {listing(ways)}. " if ways else ""


def published_blocks(results: StudyResults) -> list[Block]:
    """Return the limits with a published interval, where the study file asks for them."""
    known = [
        (pooled, each.published)
        for pooled, each in given(results.limits)
        if each.published is not None
    ]
    if not known:
        return []
    rows = [
        [
            *named_cells(pooled),
            with_interval(found.bias, found.bias_ci),
            with_interval(found.lower, found.lower_ci),
            with_interval(found.upper, found.upper_ci),
        ]
        for pooled, found in known
    ]
    return [
        heading("With a published interval"),
        table(
            (*NAMED, "Bias", "Lower limit", "Upper limit"),
            rows,
            words=3,
            caption="The same differences with one variance within participants pooled over all "
            f"and intervals by recovery of variances (MOVER; Zou 2013); degrees, "
            f"{results.options.level} intervals. "
            f"The bias weights {listing(distinct(found.weighting for _, found in known))}. "
            "The intervals are too narrow where participants differ in their spread.",
        ),
    ]


def zeroed_blocks(results: StudyResults, shown: Sequence[Pooled[StudyLimits]]) -> list[Block]:
    """Return bias and limits with both instruments zeroed at neutral standing, or why not."""
    several = [each for each in given(shown) if each[0].quantity != "range_deg"]
    rows = [
        [
            *named_cells(pooled),
            number(found.limits.bias),
            number(found.bias_from_zero),
            " / ".join(number(value) for value in found.bias_rms_deg),
            with_interval(found.zeroed.bias, found.zeroed.bias_ci),
            with_interval(found.zeroed.lower, found.zeroed.lower_ci),
            with_interval(found.zeroed.upper, found.zeroed.upper_ci),
        ]
        for pooled, found in several
        if not isinstance(found.zeroed, Absent)
    ]
    absent = grouped(
        (
            (f"{pooled.condition or NOTHING}, {pooled.procedure}", f"Not known: {reason}")
            for pooled, found in several
            if isinstance(found.zeroed, Absent) and (reason := found.zeroed.reason)
        ),
        everything=(f"{each.condition or NOTHING}, {each.procedure}" for each in shown),
    )
    if not rows and not absent:
        return []
    title = heading("Both instruments zeroed at neutral standing")
    if not rows:
        return [title, bullets(absent)]
    zeroed = table(
        (*NAMED, "Bias recorded", "By the zeros", "RMS of biases",
         "Bias zeroed",
         "Lower limit", "Upper limit"),
        rows,
        words=3,
        caption="The limits above are of the angles as recorded. Here each instrument's mean angle "
        "in neutral standing is taken off, recording by recording, as if both had been set to 0° "
        f"there; degrees, {results.options.level} intervals. By the zeros: what this takes "
        "from the recorded bias, with its sign. RMS of biases: of the participants' "
        "own, as recorded / zeroed. "
        "The mean in standing counts as known. A range does not depend on the zeros.",
    )  # fmt: skip
    return [title, zeroed, *([bullets(absent)] if absent else [])]


def corrected_blocks(results: StudyResults) -> list[Block]:
    """Return the limits with the reference's own stated error taken out, where it is stated."""
    known = [
        (pooled, found.corrected)
        for pooled, found in given(results.limits)
        if found.corrected is not None and not isinstance(found.corrected, Absent)
    ]
    absent = distinct(
        found.corrected.reason
        for _, found in given(results.limits)
        if isinstance(found.corrected, Absent)
    )
    if not known:
        title = heading("Without the reference's own error")
        return [title, bullets(absent)] if absent else []
    rows = [
        [
            *named_cells(pooled),
            number(corrected.reference_sd),
            number(corrected.sd_observed),
            number(100 * corrected.reference_share, 0),
            number(corrected.sd),
            with_interval(corrected.lower, corrected.lower_ci),
            with_interval(corrected.upper, corrected.upper_ci),
        ]
        for pooled, corrected in known
    ]
    return [
        heading("Without the reference's own error"),
        table(
            (*NAMED, "SD of reference", "SD observed", "Share, %",
             "SD left", "Lower limit", "Upper limit"),
            rows,
            words=3,
            caption="The limits above hold the errors of both instruments. Here the reference's, "
            f"as the study file states it, is taken out; degrees, {results.options.level} "
            "intervals. Share: how much of the variance "
            "of the differences is the reference's own.",
        ),
        bullets(
            distinct(
                [*(line for _, corrected in known for line in corrected.assumptions), *absent]
            )
        ),
    ]  # fmt: skip


def _components_table(limits: Sequence[Pooled[StudyLimits]]) -> Block:
    """Return the variation behind the limits."""
    rows = [
        [
            *named_cells(pooled),
            number(found.limits.sd_between),
            number(found.limits.sd_within),
            number(found.limits.sd),
            number(found.limits.skewness),
        ]
        for pooled, found in given(limits)
    ]
    return table(
        (*NAMED, "SD between", "SD within", "SD", "Skewness"),
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


def _how_they_came_about(shown: Sequence[Pooled[StudyLimits]]) -> list[str]:
    """Return the notes on some limits, and how they and their intervals came about."""
    return [*_notes(shown), *distinct(_how(found.limits) for _, found in given(shown))]


def _notes(limits: Sequence[Pooled[StudyLimits]]) -> list[str]:
    """Return every note once, with the limits it is about unless it is about all."""
    lines = [
        (named_in_words(pooled), line) for pooled in limits for line in _notes_of(pooled) if line
    ]
    return grouped(lines, everything=map(named_in_words, limits))


def _notes_of(pooled: Pooled[StudyLimits]) -> tuple[str, ...]:
    """Return what is said of one row of limits, or why it is not given."""
    if pooled.absent is not None:
        return (f"not given: {pooled.absent.reason}",)
    both = pooled.given
    return () if both is None else distinct((both.note, *both.limits.notes))


_WITHIN = {
    "participant-means": "the mean of the participants' own variances",
    "pooled-within": "one variance pooled over all participants",
    "analysis-of-variance": "both by a one-way analysis of variance",
}


def form_in_words(limits: LimitsOfAgreement) -> str:
    """Say what the SD behind the limits is made of, without the names of options."""
    if limits.method == "within participant":
        return "Limits are the bias ± a multiple of the SD of this participant's differences."
    if limits.method == "one pair a participant":
        return "Each participant gave one pair; limits are the bias ± a multiple of the pairs' SD."
    within = next(words for name, words in _WITHIN.items() if limits.method.endswith(name))
    return (
        "Each participant gave several pairs, one a cycle, and the true angle differed between "
        "them, so the SD of a single difference was put together from the variance between "
        f"participants and that within them, {within}."
    )


def limits_paragraph(results: StudyResults) -> str:
    """Say how limits of agreement came about, in the words of the computation itself."""
    known = [found.limits for _, found in given(results.limits)]
    if not known:
        return ""
    first = max(known, key=lambda limits: limits.n_participants)
    people = first.n_participants
    who = (
        f"with participants as clusters ({people} participants)"
        if people > 1
        else "within the one participant"
    )
    return (
        f"{100 * first.coverage:g} % limits of agreement (Bland & Altman 1999, 2007) were computed "
        f"for the mean over the cycle, peak flexion and range of each cycle, {who}. "
        f"{form_in_words(first)} The bias weights {first.weighting}. {results.options.level} "
        f"intervals: {first.interval_method}.{_whose_interval(results)}{_zeroed(results)}"
    )


def _whose_interval(results: StudyResults) -> str:
    """Say that the interval of a limit is no published one where it is not, and what is beside."""
    found = [each for _, each in given(results.limits)]
    text = ""
    if any(each.limits.interval_method == OWN_INTERVAL for each in found):
        text = (
            " This interval of a limit is the analysing software's own method, which no paper "
            "describes: it joins the intervals of bias, variance between and variance within "
            "participants (after Zou 2013) and is widened for heavy tails and skewness; its "
            "coverage was simulated and is stated in the software's documentation."
        )
    if any(each.published is not None for each in found):
        text += (
            " Beside it stand limits with one variance within participants pooled over all and "
            "intervals by recovery of variances (MOVER; Zou 2013)."
        )
    return text


def _zeroed(results: StudyResults) -> str:
    """Say that limits are also given with both instruments zeroed."""
    if all(isinstance(found.zeroed, Absent) for _, found in given(results.limits)):
        return ""
    return (
        " Bias and limits are given of the angles as recorded and once more with both instruments "
        "zeroed at neutral standing, each instrument's mean angle there taken off every recording."
    )
