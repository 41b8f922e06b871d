"""Reliability between instruments, sessions and trials."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from twinangle.agreement.lin_concordance import concordance
from twinangle.agreement.reliability import intraclass_correlations, measurement_error
from twinangle.analysis.groups import QUANTITIES, Groups, attempt, cycle_quantity
from twinangle.options import Options
from twinangle.results.designs import Reliability
from twinangle.results.model import TrialResult
from twinangle.results.pooled import Absent, Pooled

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
    found: list[Pooled[Reliability]] = []
    for design, column, reason in _DESIGNS:
        several = [
            one
            for procedure in groups.procedures
            for condition in groups.conditions
            for one in _designed(
                [t for t in good if (t.procedure, t.condition) == (procedure, condition)],
                design, column, options,
            )
        ]  # fmt: skip
        found += several or [Pooled("", "", "", Absent(reason, design))]
    return tuple(found)


def _designed(
    trials: Sequence[TrialResult],
    design: str,
    column: Column | None,
    options: Options,
) -> list[Pooled[Reliability]]:
    """Return the reliability of every quantity of one procedure and condition under a design."""
    if not trials:
        return []
    found = []
    for quantity in QUANTITIES:
        table = _instrument_means(trials, quantity)
        if column is None:
            scores = {BOTH: table.groupby("participant", sort=False)[["wearable", "reference"]]}
            wide = {BOTH: scores[BOTH].mean().dropna()}
        else:
            table["column"] = [column(trial) for trial in trials]
            if design == "trials of one session":
                first = table.groupby("participant", sort=False)["session"].transform("first")
                table = table[table["session"] == first]
            wide = {
                name: table.pivot_table(index="participant", columns="column", values=name,
                                        aggfunc="mean", sort=False).dropna()
                for name in ("wearable", "reference")
                if table[name].notna().any()
            }  # fmt: skip
        found += [
            _one_reliability(trials[0], quantity, design, instrument, scores, options)
            for instrument, scores in wide.items()
            if scores.shape[0] >= FEWEST_FOR_RELIABILITY and scores.shape[1] >= 2
        ]
    return found


def _instrument_means(trials: Sequence[TrialResult], quantity: str) -> pd.DataFrame:
    """Return one row a trial: the mean over its kept cycles by each instrument."""
    rows = []
    for trial in trials:
        cycles = trial.cycles
        if cycles is None:
            continue
        seen = cycles.reference_deg
        rows.append(
            (
                trial.participant,
                trial.session,
                float(cycle_quantity(cycles.wearable_deg[cycles.kept], quantity).mean()),
                float("nan")
                if seen is None
                else float(cycle_quantity(seen[cycles.kept], quantity).mean()),
            )
        )
    return pd.DataFrame(rows, columns=["participant", "session", "wearable", "reference"])


def _one_reliability(
    trial: TrialResult,
    quantity: str,
    design: str,
    instrument: str,
    scores: pd.DataFrame,
    options: Options,
) -> Pooled[Reliability]:
    """Return ICC, error of one instrument and, for two columns, concordance of one table."""
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
        )
    )
    return Pooled(trial.procedure, trial.condition, quantity, value)
