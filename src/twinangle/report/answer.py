"""The answer as the first page of the report: sentences, what they rest on, and two figures."""

from __future__ import annotations

from twinangle.report.blocks import Block, Figures, bullets, figures_beside, text
from twinangle.results import StudyResults
from twinangle.results.answer import answer_of
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.notices import foremost_sentence
from twinangle.wording import file_name

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
        text(rests_on(results)),
        *figures_beside([name for name in shown if name in figures], figures),
    ]
