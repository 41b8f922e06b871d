"""Deming's line between two instruments that both err, and what it says."""

from __future__ import annotations

from twinangle.agreement.deming import DEMING, DemingLine
from twinangle.options import Options
from twinangle.report.blocks import (
    NAMED,
    Block,
    bullets,
    grouped,
    heading,
    named_cells,
    named_in_words,
    table,
    text,
    with_interval,
)
from twinangle.results import Absent, LimitForms, Pooled, StudyResults, given
from twinangle.results.grouping import distinct


def absent_lines(results: StudyResults) -> list[str]:
    """Return where Deming's line is not given, and why."""
    name = f"No {DEMING} between two instruments that both err"
    return grouped(
        (named_in_words(item), f"{name}: {line.reason}")
        for item, found in given(results.forms)
        if isinstance(line := found.deming, Absent)
    )


def deming_blocks(
    forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options
) -> list[Block]:
    """Return the line between two instruments that both err, and what it says, where it is."""
    lines = [(item, line) for item, found in forms if not isinstance(line := found.deming, Absent)]
    if not lines:
        return []
    said = grouped((named_in_words(item), _deming_reading(line)) for item, line in lines)
    rests = distinct(one for _, line in lines for one in line.assumptions)
    rows = [
        [
            *named_cells(item),
            str(line.n_participants),
            with_interval(line.slope, line.slope_ci, 3),
            with_interval(line.intercept, line.intercept_ci),
        ]
        for item, line in lines
    ]
    ratio = lines[0][1].error_ratio
    return [
        heading("Line between two instruments that both err"),
        text(
            "Ordinary regression takes the reference as free of error, which flattens the slope; "
            "Deming's takes both to err, by the stated ratio of their error variances. The "
            "intercept is the line's value where the reference is 0: where all sizes lie far from "
            "0 it is far from the data, and uncertain."
        ),
        table(
            (*NAMED, "People", "Slope", "Intercept"),
            rows,
            words=3,
            caption="Deming's regression of the wearable on the reference over participants' "
            f"means, with {options.level} jackknife intervals over participants; intercept in "
            f"degrees. The study file states that the wearable's error variance is {ratio:g} "
            "times the reference's; "
            "the line is as good as that number.",
        ),
        bullets([*said, *rests]),
    ]


def _deming_reading(line: DemingLine) -> str:
    """Return in one sentence what slope and intercept say."""
    scale = _beside(line.slope_ci, 1, "that the wearable's angles grow {} the reference's")
    shift = _beside(line.intercept_ci, 0, "a wearable that reads {} the reference where that is 0")
    if scale is None and shift is None:
        return (
            "The slope's interval holds 1 and the intercept's holds 0: neither a difference of "
            "scale nor a shift is shown, and differences as large as the intervals remain possible."
        )
    shown = [part for part in (scale, shift) if part is not None]
    rest = "" if len(shown) == 2 else (
        "; a shift is not shown" if shift is None else "; a difference of scale is not shown"
    )  # fmt: skip
    return f"The line shows {' and '.join(shown)}{rest}."


def _beside(ends: tuple[float, float], nought: float, words: str) -> str | None:
    """Return the words filled in where an interval lies on one side of a number."""
    if ends[0] > nought:
        return words.format("more than" if nought else "above")
    return words.format("less than" if nought else "below") if ends[1] < nought else None
