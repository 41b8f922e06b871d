"""One condition against another, paired within participants."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._input import fraction
from twinangle.agreement._people import FEWEST_PEOPLE, mean_and_interval, people_notes
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity
from twinangle.agreement.condition_intervals import (
    of_one_participant,
    spread_intervals,
)
from twinangle.agreement.condition_spread import (
    own_spread,
    paired_spread,
    windows_spread,
)
from twinangle.agreement.condition_table import checked_conditions, participant_means
from twinangle.agreement.condition_trials import (
    FEWEST_CYCLES,
    Cycles,
    cycles_by_cell,
    spread_of_pair,
)
from twinangle.agreement.variability import CycleVariability
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

_CONFOUNDERS = (
    "Conditions differ in more than place: speed, surface, turns, magnetic field and duration "
    "can each change the quantity; the comparison cannot tell them apart."
)
_PAIRED = (
    "Each participant counts once, with the mean of their trials; participants are independent "
    "and their differences normal."
)
_SPREADS = (
    "SDs are taken over equally many consecutive cycles of a participant in both conditions and "
    "freed of what an SD over so few cycles falls short at the condition's serial correlation, "
    "taken as of first order and as the same in everyone."
)
_ONE_PARTICIPANT = (
    "One participant: the intervals are over this participant's further cycles under either "
    "condition, their serial correlation counted; they say nothing of other people."
)
_WITHOUT_CYCLES = (
    "Numbers of cycles were given without the cycles: an SD over few cycles, or over cycles that "
    "resemble their neighbours, is too small, and these values are compared as they stand. Give "
    "the cycles as `variability`."
)


@dataclass(frozen=True, slots=True, eq=False)
class ConditionDifference(Result):
    """How a quantity under one condition differs from another, over the same participants."""

    condition: Annotated[str, number("the condition")]
    against: Annotated[str, number("the condition it is compared with")]
    n_participants: Annotated[int, number("participants measured under both")]
    difference: Annotated[float, data("mean over participants of condition minus against")]
    difference_ci: Interval
    ratio: Annotated[
        float,
        number(
            "geometric mean over participants of condition / against; NaN unless every "
            "value is above 0"
        ),
    ]
    ratio_ci: Interval
    confidence: Annotated[float, number("confidence of the intervals")]
    note: Annotated[
        str,
        number("what to know before the numbers are used; empty when there is nothing"),
    ]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]
    interval_over: Annotated[
        str,
        number(
            "what the intervals are over: 'participants', 'cycles of one participant', or 'nothing'"
        ),
    ] = "participants"
    windows_difference: Annotated[
        float,
        data(
            "the difference of the SDs over `fewest_window` to `most_window` consecutive "
            "cycles as they stand; NaN unless the cycles were given"
        ),
    ] = float("nan")
    windows_difference_ci: Interval = NO_INTERVAL
    windows_ratio: Annotated[
        float,
        number(
            "the ratio of the SDs over `fewest_window` to `most_window` consecutive cycles "
            "as they stand; NaN unless the cycles were given"
        ),
    ] = float("nan")
    windows_ratio_ci: Interval = NO_INTERVAL
    fewest_window: Annotated[
        int,
        number(
            "fewest cycles over which SDs were taken, as many in both conditions of a "
            "participant: those of the participant's shortest trial; 0 unless the cycles "
            "were given"
        ),
    ] = 0
    most_window: Annotated[
        int,
        number("most cycles over which SDs were taken; 0 unless the cycles were given"),
    ] = 0
    serial: Annotated[
        float,
        number("correlation of neighbouring cycles under the condition, all participants together"),
    ] = float("nan")
    serial_against: Annotated[
        float,
        number(
            "correlation of neighbouring cycles under the condition compared with, all "
            "participants together"
        ),
    ] = float("nan")

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        people = counted(self.n_participants, "participant")
        over = "" if self.interval_over == "participants" else f"; intervals: {self.interval_over}"
        return (
            f"{self.condition} against {self.against}, {people}: "
            f"difference {quantity(self.difference, unit)} "
            f"({interval(self.difference_ci, unit, self.confidence)}), ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)}){over}."
        )


def compare_conditions(
    frame: pd.DataFrame,
    *,
    against: str,
    variability: Sequence[CycleVariability | ArrayLike] | None = None,
    confidence: float = 0.95,
) -> list[ConditionDifference]:
    """Compare every condition with one of them, paired within participants.

    Parameters
    ----------
    frame : DataFrame
        One row a trial, with columns `participant`, `condition` and `value`. A column `n_cycles`
        without `variability` raises a warning: values that are standard deviations (SDs) over
        unlike numbers of cycles are not comparable as they stand.
    against : str
        The condition the others are compared with.
    variability : sequence of CycleVariability or array_like of shape (n_cycles, n_points)
        The cycles behind each row, in its order. The SDs over cycles are then what is compared;
        `value` may be left out, and must be that SD where it is given. Rows with fewer than 3
        cycles are left out, and the note names them.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    list of ConditionDifference
        One for each other condition, in order of first appearance; empty if there is none. A
        condition that shares no participant with `against` has 0 participants and NaN.

    Raises
    ------
    ValueError
        If a column or the condition `against` is missing, a participant, condition or value is
        missing or infinite, a number of cycles is below 2, or `variability` does not match.

    Warns
    -----
    UserWarning
        If there are numbers of cycles but no cycles.

    Notes
    -----
    Trials are averaged within participant and condition first, so participants are what is
    sampled. Difference: Student's t on the k participants' differences. Ratio: Student's t on
    their differences of logarithms, back-transformed [1]_.

    With `variability`, participant i's SD is the mean over all runs of m_i consecutive cycles, as
    many in both conditions (m_i those of their shortest trial), freed of what an SD over m_i
    cycles falls short at the condition's serial correlation; intervals by the
    delete-one-participant jackknife (:func:`~twinangle.agreement.condition_spread.paired_spread`).
    The form `windows` beside it does without the serial correlation and speaks of the SD over m_i
    cycles. One participant alone has an interval over cycles
    (:func:`~twinangle.agreement.condition_spread.one_participant_spread`). The combination is this
    package's own; what it holds: `benchmarks/coverage.py`.

    References
    ----------
    .. [1] Bland & Altman (1996). BMJ 312, 1153 (differences of logarithms as ratios).
    """
    import pandas as pd

    confidence = fraction(confidence, "confidence")
    table, curves = checked_conditions(frame, against, variability)
    others = [name for name in pd.unique(table["condition"]) if name != against]
    if curves is not None:
        cycles, left_out = cycles_by_cell(table, curves)
        return [_of_cycles(cycles, left_out, name, against, confidence) for name in others]
    means = participant_means(table, table["value"].to_numpy(dtype=np.float64))
    logs = None
    if (table["value"] > 0).all():
        logs = participant_means(table, np.log(table["value"].to_numpy(dtype=np.float64)))
    said = []
    if "n_cycles" in frame.columns:
        said.append(_WITHOUT_CYCLES)
        warnings.warn(_WITHOUT_CYCLES, UserWarning, stacklevel=2)
    return [_difference(means, logs, name, against, confidence, said) for name in others]


def _difference(
    means: pd.DataFrame,
    logs: pd.DataFrame | None,
    name: str,
    against: str,
    confidence: float,
    said: Sequence[str],
) -> ConditionDifference:
    """Return one condition's difference from another."""
    pairs = (means[name] - means[against]).dropna().to_numpy(dtype=np.float64)
    difference, difference_ci = mean_and_interval(pairs, confidence)
    ratio, ratio_ci = float("nan"), NO_INTERVAL
    notes = [*_notes(pairs.size, {"difference": pairs}), *said]
    if logs is None:
        notes.append("Some values are not above 0: no ratio.")
    else:
        log_pairs = (logs[name] - logs[against]).dropna().to_numpy(dtype=np.float64)
        mean, bounds = mean_and_interval(log_pairs, confidence)
        ratio = float(np.exp(mean))
        ratio_ci = (float(np.exp(bounds[0])), float(np.exp(bounds[1])))
    return ConditionDifference(
        condition=name,
        against=against,
        n_participants=pairs.size,
        difference=difference,
        difference_ci=difference_ci,
        ratio=ratio,
        ratio_ci=ratio_ci,
        confidence=confidence,
        note=" ".join(notes),
        assumptions=(_PAIRED, _CONFOUNDERS),
        interval_over="participants" if pairs.size >= FEWEST_PEOPLE else "nothing",
    )


def _notes(n_participants: int, each: Mapping[str, Iterable[float]]) -> list[str]:
    """Return what the number of participants means for the comparison; `each`: as people_notes."""
    if n_participants == 0:
        return ["No participant was measured under both conditions: nothing can be compared."]
    if n_participants == 1:
        return [
            (
                "One participant: the difference is this participant's own, there is no "
                "interval, and nothing follows for others."
            )
        ]
    return list(people_notes(n_participants, each))


# ---------------------------------------------------------------- from the cycles themselves


def _of_cycles(
    cycles: Cycles, left_out: Sequence[str], name: str, against: str, confidence: float
) -> ConditionDifference:
    """Return one condition's difference from another in the SD over cycles."""
    pair = (against, name)
    people = [person for person, condition in cycles if condition == against]
    people = [person for person in people if (person, name) in cycles]
    notes = []
    if left_out:
        notes.append(f"Left out with fewer than {FEWEST_CYCLES} cycles: {', '.join(left_out)}.")
    if not people:
        nothing = float("nan"), NO_INTERVAL
        return ConditionDifference(
            name, against, 0, *nothing, *nothing, confidence, " ".join([*_notes(0, {}), *notes]),
            (_PAIRED, _CONFOUNDERS), "nothing",
        )  # fmt: skip
    spread = spread_of_pair(cycles, people, pair)
    over = "participants" if len(people) >= FEWEST_PEOPLE else "nothing"
    if len(people) == 1:
        found, over = of_one_participant(cycles, spread, people[0], pair, confidence)
        notes = [_ONE_PARTICIPANT, *notes]
    else:
        found = spread_intervals(paired_spread(spread, confidence))
        own = dict(zip(("ratio", "difference"), own_spread(spread), strict=True))
        notes = [*_notes(len(people), own), *notes]
    if not np.isfinite(found[2]):
        notes.append("Some cycles do not vary at all: no ratio.")
    plain = windows_spread(spread, confidence)
    windows = spread_intervals(plain)
    return ConditionDifference(
        name, against, len(people), *found, confidence, " ".join(notes),
        (_PAIRED, _SPREADS, _CONFOUNDERS), over, *windows,
        int(spread.window.min()), int(spread.window.max()),
        float(plain.serial[1]), float(plain.serial[0]),
    )  # fmt: skip
