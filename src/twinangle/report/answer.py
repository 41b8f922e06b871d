"""The answer as the first page of the report: sentences, what they rest on, and two figures."""

from __future__ import annotations

from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    bullets,
    described,
    figures_beside,
    text,
    with_interval,
)
from twinangle.results import StudyResults
from twinangle.results.answer import answer_of
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.notices import foremost_sentence
from twinangle.results.pair_words import MOST_PAIRS, PairFound, left_over, pairs_found
from twinangle.under_test import parts_of, under_test
from twinangle.wording import NOTHING, between, file_name

INVENTED = "The data are invented: no person was recorded, and no number here is of people."
CAUTIONS = (
    "For research use only: not a medical device, and not for diagnosis or treatment decisions.",
    (
        "The numbers hold for these participants, instruments, placements and surroundings; the "
        "reference's own error is part of every difference."
    ),
    "Name participants by code only, here and in every file.",
)


def above_all(results: StudyResults) -> tuple[str, ...]:
    """Return what stands in a frame above the answer: a doubt of all of it, that it is invented."""
    return tuple(filter(None, (foremost_sentence(results), INVENTED if results.invented else "")))


def answer_blocks(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the first page: sentences, what they rest on, and two figures."""
    answer = answer_of(results)
    shown = (file_name("group-curves", answer.condition), "limits-answer")
    return [
        bullets(answer_sentences(results)),
        *pairs_blocks(results),
        text(rests_on(results)),
        *figures_beside([name for name in shown if name in figures], figures),
    ]


def pairs_blocks(results: StudyResults) -> list[Block]:
    """Return each wearable against each reference, a row each; none where there is one of either.

    :func:`pair_sentences` has the same for the terminal.
    """
    pairs = pairs_found(results)
    return described(
        "Each wearable against each reference: bias and limits of agreement of the mean over the "
        "cycle, RMS of the demeaned mean curves; degrees, "
        f"{results.options.level} intervals.",
        (
            Column("Wearable, procedure"),
            Column("Reference"),
            Column("Condition"),
            Column("People"),
            Column("Recordings", "recordings: analysed / meant to be"),
            Column("Bias"),
            Column("Limits"),
            Column("Margin"),
            Column("RMS demeaned"),
        ),
        [_pair_cells(pair) for pair in pairs[:MOST_PAIRS]],
        words=3,
        end=left_over(pairs),
    )


def _pair_cells(pair: PairFound) -> list[str]:
    limits, curves, held = pair.limits, pair.curves, pair.rests.with_reference
    wearable, procedure, reference = parts_of(pair.name)
    return [
        under_test(wearable, procedure),
        reference,
        pair.condition,
        str(held.n_participants),
        f"{held.n_recordings} / {pair.n_meant}",
        NOTHING if limits is None else with_interval(limits.bias, limits.bias_ci),
        NOTHING if limits is None else between((limits.lower, limits.upper)),
        pair.verdict or NOTHING,
        NOTHING if curves is None else with_interval(curves.rms_demeaned, curves.rms_demeaned_ci),
    ]
