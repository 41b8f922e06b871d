"""Conditions compared, participant by participant, by the wearable's variability."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.agreement.conditions import ConditionDifference, compare_conditions
from twinangle.analysis.groups import Groups, attempt, unique
from twinangle.options import Options
from twinangle.results.pooled import Absent, Pooled
from twinangle.results.trial_result import TrialResult

QUANTITY = "wearable_sd_deg"
ONE_CONDITION = "one condition only."


def pool(groups: Groups, options: Options) -> tuple[Pooled[ConditionDifference], ...]:
    """Compare each condition's wearable per-cycle SD with that of the condition asked for.

    Where none is asked for: the first condition that has a reference, else the first listed.
    """
    good = [t for t in groups.good if t.wearable_variability is not None]
    if not good:
        return ()
    if len(unique(t.condition for t in good)) < 2:
        return (Pooled("", "", QUANTITY, Absent(ONE_CONDITION)),)
    base = base_condition(good, options)
    found: list[Pooled[ConditionDifference]] = []
    for procedure in unique(t.procedure for t in good):
        mine = [t for t in good if t.procedure == procedure]
        several = attempt(lambda mine=mine: _compared(mine, base, options))  # type: ignore[misc]
        if isinstance(several, Absent):
            found.append(Pooled(procedure, "", QUANTITY, several))
        else:
            found += [Pooled(procedure, one.condition, QUANTITY, one) for one in several]
    return tuple(found)


def base_condition(trials: Sequence[TrialResult], options: Options) -> str:
    """Return the condition asked for, else the first with a reference, else the first listed."""
    if options.against is not None and options.against in {t.condition for t in trials}:
        return options.against
    with_reference = [t.condition for t in trials if t.agreement is not None]
    return (with_reference or [t.condition for t in trials])[0]


def _compared(
    trials: Sequence[TrialResult], against: str, options: Options
) -> list[ConditionDifference]:
    """Compare the conditions of one procedure."""
    import pandas as pd

    frame = pd.DataFrame(
        {
            "participant": [t.participant for t in trials],
            "condition": [t.condition for t in trials],
        }
    )
    if against not in set(frame["condition"]):
        raise ValueError(f"no trial of the condition to compare with ({against}) is good.")
    if frame["condition"].nunique() < 2:
        raise ValueError(ONE_CONDITION)
    cycles = [t.wearable_variability for t in trials if t.wearable_variability is not None]
    return compare_conditions(
        frame, against=against, variability=cycles, confidence=options.confidence
    )
