"""Procedures on the same trials: ranks and paired differences."""

from __future__ import annotations

from twinangle.agreement._result import counted
from twinangle.report.blocks import Block, Figures, figure, heading, table, text
from twinangle.report.instruments import common_cycles_blocks, matrix_blocks
from twinangle.results import StudyResults, given
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import between, file_name, number, p_value


def ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the procedures' ranks and paired differences."""
    blocks: list[Block] = []
    ranked = given(results.ranking)
    for pooled, contest in ranked:
        condition = pooled.condition
        reference = reference_of(pooled.procedure)
        title = ", ".join(filter(None, (condition, reference and f"against {reference}")))
        blocks += [heading(title or "All trials")] if len(ranked) > 1 else []
        blocks += matrix_blocks(results, contest, reference)
        blocks += common_cycles_blocks(results, condition, reference)
        blocks += figure(file_name("contest", condition, reference), figures)
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
        blocks.append(
            table(
                ("Pair", "Difference", "Interval", "p (unadjusted)", "Verdict"),
                pairs,
                caption=f"Paired over {counted(contest.n_participants, 'participant')} and "
                f"{counted(contest.n_trials, 'trial')}, in degrees; the intervals hold together at "
                f"{100 * contest.confidence:g} %. Means: {means}.",
            )
        )
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
