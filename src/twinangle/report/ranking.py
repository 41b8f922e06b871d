"""Procedures on the same trials: ranks and paired differences."""

from __future__ import annotations

from twinangle.agreement._result import counted
from twinangle.agreement.ranking import Contest
from twinangle.report.blocks import Block, Figures, figure, heading, table, text
from twinangle.report.instruments import common_cycles_blocks, matrix_blocks
from twinangle.results import Pooled, StudyResults, given
from twinangle.results.answer import answer_of
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import between, file_name, number, p_value


def ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the procedures' ranks and paired differences.

    Pair by pair, and as a figure, for the answer's reference; of others the ranks alone, the rest
    is in :func:`further_ranking_section`.
    """
    blocks: list[Block] = []
    ranked = given(results.ranking)
    main = _main_reference(results)
    for pooled, contest in ranked:
        blocks += _title(pooled) if len(ranked) > 1 else []
        reference = reference_of(pooled.procedure)
        matrix = matrix_blocks(results, contest, reference)
        blocks += matrix
        blocks += common_cycles_blocks(results, pooled.condition, reference)
        if reference == main or not matrix:
            blocks += _pairs(pooled, contest, figures)
        else:
            blocks.append(text("Pair by pair: in the supplement."))
        if contest.dropped:
            blocks.append(text(f"Left out, lacking a procedure: {', '.join(contest.dropped)}."))
    if not blocks:
        return []
    lead = (
        "Procedures on the same trials, the same clock and the same cycles, ranked by the RMS of "
        "the demeaned mean curves (arithmetic mean over participants), participants as clusters. "
        "Two are apart where the interval of their difference excludes zero and the difference is "
        f"{ranked[0][1].differences[0].least:g}° or more (own rule); else they tie."
    )
    return [text(lead), *blocks]


def further_ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return, pair by pair, what procedures are against references other than the answer's."""
    main = _main_reference(results)
    return [
        block
        for pooled, contest in given(results.ranking)
        if (reference := reference_of(pooled.procedure)) != main
        and matrix_blocks(results, contest, reference)
        for block in (*_title(pooled), *_pairs(pooled, contest, figures))
    ]


def _main_reference(results: StudyResults) -> str:
    return reference_of(answer_of(results).procedure)


def _title(pooled: Pooled[Contest]) -> list[Block]:
    reference = reference_of(pooled.procedure)
    title = ", ".join(filter(None, (pooled.condition, reference and f"against {reference}")))
    return [heading(title or "All trials")]


def _pairs(pooled: Pooled[Contest], contest: Contest, figures: Figures) -> list[Block]:
    """Return the figure of a contest, and the difference of each two."""
    pairs = [
        [
            f"{_shown(pair.first)} − {_shown(pair.second)}",
            number(pair.difference, 3),
            between((pair.lower, pair.upper), 3),
            p_value(pair.p_value),
            "tie" if pair.tied else "apart",
        ]
        for pair in contest.differences
    ]
    means = ", ".join(
        f"{_shown(place.procedure)} {number(place.mean)}° (rank {place.rank})"
        for place in contest.standings
    )
    name = file_name("contest", pooled.condition, reference_of(pooled.procedure))
    return [
        *figure(name, figures),
        table(
            ("Pair", "Difference", "Interval", "p (unadjusted)", "Verdict"),
            pairs,
            caption=f"Paired over {counted(contest.n_participants, 'participant')} and "
            f"{counted(contest.n_trials, 'trial')}, in degrees; the intervals hold together at "
            f"{100 * contest.confidence:g} %. Means: {means}.",
        ),
    ]


def _shown(name: str) -> str:
    """Return what is ranked without its reference, which the heading names."""
    return under_test(wearable_of(name), procedure_of(name))


def ranking_paragraph(results: StudyResults) -> str:
    """Say how procedures were compared."""
    contests = [contest for _, contest in given(results.ranking)]
    if not contests:
        return ""
    least = contests[0].differences[0].least
    return (
        "Procedures were compared on the same recordings by the root mean square of the demeaned "
        "mean curves' difference, paired within participants (Student's t), with intervals that "
        f"hold together at {100 * contests[0].confidence:g} % over all pairs (Bonferroni; Dunn "
        f"1961). Two were called apart where the interval left out zero and the difference was "
        f"{least:g}° or more (own rule), else tied."
    )
