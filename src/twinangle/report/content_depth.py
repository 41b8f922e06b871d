"""Pages that look behind the numbers: contest, verdict, error budget, along the cycle."""

from __future__ import annotations

import math

from twinangle.agreement._result import counted
from twinangle.agreement.budget import PooledBudget
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
from twinangle.report.figures_depth import PARTS
from twinangle.report.figures_study import quantity_name
from twinangle.report.grouping import distinct
from twinangle.report.wording import NOTHING, between, number
from twinangle.results import StudyResults


def _named(figures: Figures, start: str) -> list[Block]:
    """Return the blocks of all figures whose name starts so."""
    return [block for name in figures if name.startswith(start) for block in figure(name, figures)]


def along_cycle_blocks(results: StudyResults, figures: Figures) -> list[Block]:
    """Return limits along the cycle, and where the instruments differ."""
    if not results.along_cycle:
        return []
    rows = []
    for procedure, condition, limits, difference in results.along_cycle:
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
        *_named(figures, "along-cycle"),
        table(
            ("Condition", "Procedure", "Where the instruments differ", "People / cycles",
             "Family-wise α", "Smallest p"),
            rows,
            words=3,
            caption="Where along the cycle the mean difference is not zero, the whole cycle tested "
            "as one family; the smallest p is what so few participants can give.",
        ),
        bullets(distinct(line for *_, item, _ in results.along_cycle for line in item.assumptions)),
    ]  # fmt: skip


def corrected_blocks(results: StudyResults) -> list[Block]:
    """Return the limits with the reference's own stated error taken out, where it is stated."""
    known = [
        (pooled, pooled.corrected) for pooled in results.limits if pooled.corrected is not None
    ]
    absent = distinct(pooled.corrected_note for pooled in results.limits if pooled.corrected_note)
    if not known:
        title = heading("Without the reference's own error")
        return [title, bullets(absent)] if absent else []
    rows = [
        [
            pooled.condition or NOTHING,
            pooled.procedure,
            quantity_name(pooled.quantity),
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
            ("Condition", "Procedure", "Quantity", "SD of reference", "SD observed", "Share, %",
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


def zeroed_blocks(results: StudyResults) -> list[Block]:
    """Return bias and limits with both instruments zeroed at neutral standing, or why not."""
    several = [pooled for pooled in results.limits if pooled.quantity != "range_deg"]
    rows = [
        [
            pooled.condition or NOTHING,
            pooled.procedure,
            quantity_name(pooled.quantity),
            number(pooled.limits.bias),
            number(pooled.bias_from_zero_deg),
            " / ".join(number(value) for value in pooled.bias_rms_deg),
            with_interval(pooled.zeroed.bias, pooled.zeroed.bias_ci),
            with_interval(pooled.zeroed.lower, pooled.zeroed.lower_ci),
            with_interval(pooled.zeroed.upper, pooled.zeroed.upper_ci),
        ]
        for pooled in several
        if pooled.zeroed is not None and pooled.limits is not None
    ]
    absent = distinct(
        f"{pooled.condition or NOTHING}, {pooled.procedure}: {pooled.zeroed_note}"
        for pooled in several
        if pooled.zeroed_note
    )
    if not rows and not absent:
        return []
    title = heading("Both instruments zeroed at neutral standing")
    if not rows:
        return [title, bullets(absent)]
    found = table(
        ("Condition", "Procedure", "Quantity", "Bias recorded", "Of it zero", "RMS of biases",
         "Bias zeroed",
         "Lower limit", "Upper limit"),
        rows,
        words=3,
        caption="The limits above are of the angles as recorded. Here each instrument's mean angle "
        "in neutral standing is taken off, recording by recording, as if both had been set to 0° "
        f"there; degrees, {results.options.level} intervals. Of it zero: the part of the recorded "
        "bias that this takes away. RMS of biases: of the participants' own, as recorded / zeroed. "
        "The mean in standing counts as known. A range does not depend on the zeros.",
    )  # fmt: skip
    return [title, found, *([bullets(absent)] if absent else [])]


def published_blocks(results: StudyResults) -> list[Block]:
    """Return the limits with a published interval, where the study file asks for them."""
    known = [
        (pooled, pooled.published) for pooled in results.limits if pooled.published is not None
    ]
    if not known:
        return []
    rows = [
        [
            pooled.condition or NOTHING,
            pooled.procedure,
            quantity_name(pooled.quantity),
            with_interval(found.bias, found.bias_ci),
            with_interval(found.lower, found.lower_ci),
            with_interval(found.upper, found.upper_ci),
        ]
        for pooled, found in known
    ]
    return [
        heading("With a published interval"),
        table(
            ("Condition", "Procedure", "Quantity", "Bias", "Lower limit", "Upper limit"),
            rows,
            words=3,
            caption="The same differences with one variance within participants pooled over all "
            f"and intervals by recovery of variances (MOVER; Zou 2013); degrees, "
            f"{results.options.level} intervals. They are too narrow where participants differ in "
            "their spread.",
        ),
    ]


def verdict_blocks(results: StudyResults) -> list[Block]:
    """Return what the verdicts against the margin rest on, and what they hold."""
    rests = [line for *_, claim in results.equivalence for line in claim.rests_on]
    return [heading("What the verdict rests on"), bullets(distinct(rests))] if rests else []


def _p_value(p: float) -> str:
    """Return a p value to three decimals."""
    return "< 0.001" if p < 0.001 else number(p, 3)


def contest_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the procedures' ranks and paired differences."""
    blocks: list[Block] = []
    for condition, contest in results.contests:
        blocks.append(heading(condition or "All trials"))
        blocks += _named(figures, f"contest_{condition}") if len(results.contests) == 1 else []
        standings = [
            [f"{place.rank}", place.procedure, number(place.mean), ", ".join(place.tied_with)]
            for place in contest.standings
        ]
        pairs = [
            [
                f"{pair.first} − {pair.second}",
                number(pair.difference, 3),
                between((pair.lower, pair.upper), 3),
                _p_value(pair.p_value),
                "tie" if pair.tied else "apart",
            ]
            for pair in contest.differences
        ]
        blocks += [
            table(
                ("Rank", "Procedure", "RMS demeaned", "Tied with"),
                [[row[0], row[1], row[3] or NOTHING, row[2]] for row in standings],
                words=3,
            )
            | {"head": ["Rank", "Procedure", "Tied with", "RMS demeaned"]},
            table(
                ("Pair", "Difference", "Interval", "p (unadjusted)", "Verdict"),
                pairs,
                caption=f"Paired over {counted(contest.n_participants, 'participant')} and "
                f"{counted(contest.n_trials, 'trial')}, in degrees; the intervals hold together at "
                f"{100 * contest.confidence:g} %.",
            ),
        ]
        if contest.dropped:
            blocks.append(text(f"Left out, lacking a procedure: {', '.join(contest.dropped)}."))
    if not blocks:
        return []
    lead = (
        "Procedures on the same trials, the same clock and the same cycles, ranked by the RMS of "
        "the demeaned mean curves (arithmetic mean over participants), participants as clusters. "
        "Procedures that cannot be told apart are ties."
    )
    several = _named(figures, "contest") if len(results.contests) > 1 else []
    return [text(lead), *several, *blocks]


def budget_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the parts of the mean squared difference, pooled."""
    if not results.budgets:
        return []
    parts = {**PARTS, "total": "whole"}
    rows = [
        [
            condition or NOTHING,
            procedure,
            words.capitalize(),
            with_interval(getattr(budget, part), _bounds(budget, part), 3),
            with_interval(math.sqrt(getattr(budget, part)), _roots(_bounds(budget, part))),
            number(100 * getattr(budget, part) / budget.total, 0) if budget.total > 0 else NOTHING,
        ]
        for procedure, condition, budget in results.budgets
        for part, words in parts.items()
    ]
    people = distinct(str(budget.n_participants) for *_, budget in results.budgets)
    return [
        text(
            "How much of the mean squared difference of all kept cycles repeats every cycle: a "
            "constant offset, a difference of range (gain) and a delay of the curve (timing) as "
            "far as they hold in every part of the cycle, a pattern that is neither, and what can "
            "be put down to any of pattern, range and timing, because it fits a gain or a delay "
            "in one part of the cycle only. The rest differs from cycle to cycle: a level that "
            "wanders slowly, offset, range and timing of single cycles, and what is left. A delay "
            "that is always the same is taken up when the clocks are brought together by the "
            "angle itself: timing is what is left of it, and how far the clock's own uncertainty "
            "moves the RMS stands with the clocks (RMS ±)."
        ),
        *figure("error_budget", figures),
        table(
            ("Condition", "Procedure", "Part", "Mean square (deg²)", "Its root (deg)", "Share, %"),
            rows,
            words=3,
            caption=f"Means over {' or '.join(people)} participants, with "
            f"{results.options.level} intervals over participants (from 4 on; with one "
            "participant over that one's cycles, which says nothing of others). Mean squares add "
            "up to the whole, their roots do not. Each recording's own parts, with intervals "
            "over its cycles, are in tables/trial_numbers.csv.",
        ),
        bullets(distinct(line for *_, budget in results.budgets for line in budget.assumptions)),
    ]


def _bounds(budget: PooledBudget, part: str) -> tuple[float, float]:
    """Return a part's interval: over participants, or over the cycles of the only one."""
    source = budget.budgets[0] if budget.n_participants == 1 else budget
    low, high = getattr(source, f"{part}_ci")
    return float(low), float(high)


def _roots(ends: tuple[float, float]) -> tuple[float, float]:
    """Return the interval of a root mean square: the scale people read."""
    return math.sqrt(ends[0]), math.sqrt(ends[1])
