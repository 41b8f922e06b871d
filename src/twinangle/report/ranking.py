"""Procedures on the same trials: ranks and paired differences."""

from __future__ import annotations

from twinangle.agreement._result import counted
from twinangle.report.blocks import Block, Figures, figures_named, heading, table, text
from twinangle.results import StudyResults, given
from twinangle.wording import NOTHING, between, number, p_value


def ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the procedures' ranks and paired differences."""
    blocks: list[Block] = []
    ranked = given(results.ranking)
    for pooled, contest in ranked:
        condition = pooled.condition
        blocks.append(heading(condition or "All trials"))
        blocks += figures_named(figures, f"contest_{condition}") if len(ranked) == 1 else []
        standings = [
            [f"{place.rank}", place.procedure, number(place.mean), ", ".join(place.tied_with)]
            for place in contest.standings
        ]
        pairs = [
            [
                f"{pair.first} − {pair.second}",
                number(pair.difference, 3),
                between((pair.lower, pair.upper), 3),
                p_value(pair.p_value),
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
        "Two are apart where the interval of their difference excludes zero and the difference is "
        f"{ranked[0][1].differences[0].least:g}° or more (own rule); else they tie."
    )
    several = figures_named(figures, "contest") if len(ranked) > 1 else []
    return [text(lead), *several, *blocks]
