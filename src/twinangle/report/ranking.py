"""Procedures on the same trials: ranks and paired differences."""

from __future__ import annotations

from twinangle.agreement._result import counted
from twinangle.agreement.ranking import Contest
from twinangle.report.blocks import Block, Figures, figure, heading, table, text
from twinangle.report.instruments import common_cycles_blocks, matrix_blocks, several_wearables
from twinangle.results import Pooled, StudyResults, given
from twinangle.results.answer import answer_of
from twinangle.results.comparison_words import tie_word, ties_sentence
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import between, file_name, number, p_value


def ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the procedures' ranks and paired differences.

    Of several wearables all ranks stand in one table; pair by pair they are in
    :func:`further_ranking_section`.
    """
    ranked = given(results.ranking)
    if not ranked:
        return []
    if several_wearables(results):
        blocks = [text(_lead(ranked[0][1])), *matrix_blocks(results, ranked)]
        main = _main_reference(results)
        for pooled, contest in ranked:
            if reference_of(pooled.procedure) == main:
                blocks += common_cycles_blocks(results, pooled.condition, main)
                blocks += _behind(contest)
        return [*blocks, text("Pair by pair, with a figure: in the supplement.")]
    blocks = [text(_lead(ranked[0][1]))]
    for pooled, contest in ranked:
        blocks += _title(pooled) if len(ranked) > 1 else []
        blocks += [*_pair_by_pair(pooled, contest, figures), *_behind(contest)]
    return blocks


def further_ranking_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return of several wearables what the report has no room for: every two, with a figure."""
    if not several_wearables(results):
        return []
    main = _main_reference(results)
    blocks: list[Block] = []
    for pooled, contest in given(results.ranking):
        reference = reference_of(pooled.procedure)
        blocks += _title(pooled)
        if reference != main:
            blocks += common_cycles_blocks(results, pooled.condition, reference)
        blocks += _pair_by_pair(pooled, contest, figures)
        blocks += _behind(contest) if reference != main else []
    return blocks


def _lead(contest: Contest) -> str:
    return (
        "Procedures on the same trials, the same clock and the same cycles, ranked by the RMS of "
        "the demeaned mean curves (arithmetic mean over participants), participants as clusters. "
        "Two are apart where the interval of their difference excludes zero and the difference is "
        f"{contest.differences[0].least:g}° or more (own rule); else they tie."
    )


def _behind(contest: Contest) -> list[Block]:
    """Return what ties rest on, and what was left out."""
    dropped = contest.dropped
    names = "participant, session, trial, side"
    left = f"Left out, lacking a procedure ({names}): {', '.join(dropped)}." if dropped else ""
    said = " ".join(filter(None, (ties_sentence(contest), left)))
    return [text(said)] if said else []


def _main_reference(results: StudyResults) -> str:
    return reference_of(answer_of(results).procedure)


def _title(pooled: Pooled[Contest]) -> list[Block]:
    reference = reference_of(pooled.procedure)
    title = ", ".join(filter(None, (pooled.condition, reference and f"against {reference}")))
    return [heading(title or "All trials")]


def _pair_by_pair(pooled: Pooled[Contest], contest: Contest, figures: Figures) -> list[Block]:
    """Return the figure of a contest, and the difference of each two."""
    name = file_name("contest", pooled.condition, reference_of(pooled.procedure))
    pairs = [
        [
            f"{_shown(pair.first)} − {_shown(pair.second)}",
            number(pair.difference, 3),
            between((pair.lower, pair.upper), 3),
            p_value(pair.p_value),
            tie_word(contest, tied=pair.tied),
        ]
        for pair in contest.differences
    ]
    means = ", ".join(
        f"{_shown(place.procedure)} {number(place.mean)}°"
        + (f" (rank {place.rank})" if contest.can_tell_apart() else "")
        for place in contest.standings
    )
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
        f"{least:g}° or more (own rule), else tied, which is no proof that they are equally good."
    )
