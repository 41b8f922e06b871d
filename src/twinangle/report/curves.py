"""Mean curves over participants: their table and their paragraph of the methods."""

from __future__ import annotations

from twinangle.agreement._result import NO_INTERVAL
from twinangle.report.blocks import (
    Block,
    Column,
    against_one,
    described,
    with_interval,
)
from twinangle.results import StudyResults, named
from twinangle.wording import NOTHING

SAYS_NOTHING = 0.999  # two curves of one movement are alike to here whatever the instrument


def curves_table(results: StudyResults, against: str = "", *, rest: str = "") -> list[Block]:
    """Return the numbers of mean curves over participants, with their intervals.

    Of several references `against` alone; what `rest` says stands behind the caption then.
    """
    found = against_one(named(results.curves), against)
    rows = [
        [
            condition or NOTHING,
            procedure,
            str(curves.n_participants),
            with_interval(curves.offset, curves.offset_ci),
            with_interval(curves.rms_demeaned, curves.rms_demeaned_ci),
            with_interval(curves.mad_demeaned, curves.mad_demeaned_ci),
            with_interval(curves.range_difference, curves.range_difference_ci),
            correlation(curves.correlation, curves.correlation_ci),
        ]
        for (procedure, condition, _), curves in found
    ]
    return described(
        "Mean curves, means over participants, each counting once with the mean over their "
        "recordings, in degrees; in brackets "
        f"{results.options.level} intervals over participants (none with one).",
        (
            Column("Condition"),
            Column("Procedure"),
            Column("People"),
            Column("Offset"),
            Column("RMS demeaned", "RMS of the demeaned curves: arithmetic mean"),
            Column(
                "MAD demeaned",
                "MAD: median over the cycle of their absolute difference, arithmetic mean",
            ),
            Column(
                "Range difference",
                "range difference: of the mean curves' ranges, flatter than those of single "
                "cycles, which the limits of agreement compare",
            ),
            Column(
                "r",
                "r: correlation, on Fisher's scale, no measure of agreement, "
                f"not given above {SAYS_NOTHING}",
            ),
        ),
        rows,
        words=2,
        end=rest,
    )


def correlation(value: float, ends: tuple[float, float] = NO_INTERVAL) -> str:
    """Return a correlation of curves; nothing where it is so near 1 that it says nothing."""
    return "" if value > SAYS_NOTHING else with_interval(value, ends, 4)


def curves_paragraph(results: StudyResults) -> str:
    """Say how mean curves were compared."""
    text = (
        "Variability between cycles is the standard deviation over cycles at each point (n − 1), "
        "averaged over the points."
    )
    if not any(trial.agreement is not None for trial in results.trials):
        return text
    return (
        "Differences are wearable minus reference. The mean curves were compared by their offset "
        "(difference of the curves' means), the root mean square of their difference once each "
        "curve was demeaned, the median of that difference's absolute value over the cycle (Hampel "
        "1974), and the difference of their ranges; the mean squared difference is the sum of its "
        "parts from offset, spread and pattern (Kobayashi & Salam 2000). Intervals of a "
        "recording's own numbers are over its cycles (jackknife, serial correlation counted), of "
        "the median none; over participants, Student's t was used on their means, of Fisher's z "
        "for the correlation; RMS and median are averaged arithmetically, their intervals are on "
        "a logarithmic scale. "
        f"{text} Over participants both instruments' standard deviations were freed of what few "
        "and serially correlated cycles take from them (delete-one-participant jackknife)."
    )
