"""Reliability between instruments, sessions and trials."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from twinangle.agreement.lin_concordance import concordance
from twinangle.agreement.reliability import intraclass_correlations
from twinangle.agreement.retest import measurement_error
from twinangle.analysis.groups import QUANTITIES, Groups, attempt, cycle_quantity, unique
from twinangle.options import Options
from twinangle.results.designs import Reliability
from twinangle.results.pooled import Absent, Pooled
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import Array

if TYPE_CHECKING:
    import pandas as pd

FEWEST_FOR_RELIABILITY = 3
BOTH = "both"  # whose values the columns are where they are the two instruments
NOT_DETECTABLE = (
    "it is for one instrument measured again. From two instruments it would be the half-width of "
    "the limits under another name, without the bias: see the limits of agreement."
)
Column = Callable[[TrialResult], str]
_DESIGNS: tuple[tuple[str, Column | None, str], ...] = (
    ("both instruments", None, "no recording has a reference, or fewer than 3 participants."),
    (
        "sessions",
        lambda t: t.session,
        "no condition has 3 participants recorded in the same two or more sessions.",
    ),
    (
        "trials of one session",
        lambda t: t.trial,
        "no session has 3 participants with the same two or more trials.",
    ),
)


def pool(groups: Groups, options: Options) -> tuple[Pooled[Reliability], ...]:
    """Return reliability over instruments, sessions and trials, as far as there are several."""
    good = [t for t in groups.good if t.cycles is not None]
    if not good:
        return ()
    of_each = [
        [t for t in good if (t.procedure, t.condition) == (procedure, condition)]
        for procedure in groups.procedures
        for condition in groups.conditions
    ]
    means = [(trials, _instrument_means(trials)) for trials in of_each if trials]
    found: list[Pooled[Reliability]] = []
    for design, column, reason in _DESIGNS:
        several = [
            one for trials, tables in means for one in _designed(trials, tables, design, column,
                                                                 options)
        ]  # fmt: skip
        found += several or [Pooled("", "", "", Absent(reason, design))]
    return tuple(found)


def _designed(
    trials: Sequence[TrialResult],
    tables: Mapping[str, pd.DataFrame],
    design: str,
    column: Column | None,
    options: Options,
) -> list[Pooled[Reliability]]:
    """Return the reliability of every quantity of one procedure and condition under a design."""
    columns = None if column is None else [column(trial) for trial in trials]
    if columns is not None and len(unique(columns)) < 2:
        return []
    found = []
    for quantity, table in tables.items():
        if columns is None:
            both = table.groupby("participant", sort=False)[["wearable", "reference"]].mean()
            wide = {BOTH: both}
        else:
            table = table.assign(column=columns)
            if design == "trials of one session":
                first = table.groupby("participant", sort=False)["session"].transform("first")
                table = table[table["session"] == first]
            wide = {
                name: table.pivot_table(index="participant", columns="column", values=name,
                                        aggfunc="mean", sort=False)
                for name in ("wearable", "reference")
                if table[name].notna().any()
            }  # fmt: skip
        complete = {name: (scores, _complete(scores)) for name, scores in wide.items()}
        found += [
            _one_reliability(trials[0], quantity, design, (name, kept, _left_out(scores, kept)),
                             options)
            for name, (scores, kept) in complete.items()
            if kept.shape[0] >= FEWEST_FOR_RELIABILITY and kept.shape[1] >= 2
        ]  # fmt: skip
    return found


def _complete(scores: pd.DataFrame) -> pd.DataFrame:
    """Return the part without a gap that tells most: (people - 1)(columns - 1) is largest.

    Columns are taken in the order of how many people have them, so that one person's third session
    does not cost everybody who has two.
    """
    counts = scores.notna().sum().sort_values(ascending=False, kind="stable")
    order = [name for name in counts.index if counts[name] > 0]
    parts = [
        scores[[name for name in scores.columns if name in order[:k]]].dropna()
        for k in range(2, len(order) + 1)
    ]
    return max(
        parts,
        key=lambda part: (part.shape[0] - 1) * (part.shape[1] - 1) if len(part) else -1,
        default=scores.iloc[:, :0],
    )


def _left_out(scores: pd.DataFrame, kept: pd.DataFrame) -> tuple[str, ...]:
    """Return the people and the columns that have values and are not in the complete part."""
    people = [str(name) for name in scores.index if name not in kept.index]
    columns = [str(name) for name in scores.columns if name not in kept.columns]
    few = "columns that too few participants have a value in"
    named = (("participants without a value in each column", people), (few, columns))
    return tuple(f"{what}: {', '.join(names)}" for what, names in named if names)


def _instrument_means(trials: Sequence[TrialResult]) -> dict[str, pd.DataFrame]:
    """Return, by quantity, one row a trial: the mean over its kept cycles by each instrument."""
    import pandas as pd

    sets = [trial.cycles for trial in trials if trial.cycles is not None]
    whose = {
        "participant": [trial.participant for trial in trials],
        "session": [trial.session for trial in trials],
    }
    return {
        quantity: pd.DataFrame(
            {
                **whose,
                "wearable": [_mean(each.wearable_deg, each.kept, quantity) for each in sets],
                "reference": [_mean(each.reference_deg, each.kept, quantity) for each in sets],
            }
        )
        for quantity in QUANTITIES
    }


def _mean(curves: Array | None, kept: NDArray[np.bool_], quantity: str) -> float:
    """Return the mean of a quantity over the kept cycles; NaN without curves."""
    return float("nan") if curves is None else float(cycle_quantity(curves[kept], quantity).mean())


def _one_reliability(
    trial: TrialResult,
    quantity: str,
    design: str,
    table: tuple[str, pd.DataFrame, tuple[str, ...]],
    options: Options,
) -> Pooled[Reliability]:
    """Return ICC, error of one instrument and, for two columns, concordance of one table.

    `table` is whose values it holds, the values, and who is left out.
    """
    instrument, scores, without = table
    values = scores.to_numpy(dtype=np.float64)
    again = instrument != BOTH
    two = values.shape[1] == 2 and np.ptp(values, axis=0).min() > 0
    value = attempt(
        lambda: Reliability(
            design=design,
            instrument=instrument,
            columns=tuple(str(name) for name in scores.columns),
            intraclass=intraclass_correlations(values, confidence=options.confidence),
            error=measurement_error(values, confidence=options.confidence)
            if again
            else Absent(NOT_DETECTABLE),
            concordance=concordance(values[:, 0], values[:, 1], confidence=options.confidence)
            if two
            else None,
            people=tuple(map(str, scores.index)),
            scores=tuple(map(tuple, values.tolist())),
            left_out=without,
        )
    )
    return Pooled(trial.procedure, trial.condition, quantity, value)
