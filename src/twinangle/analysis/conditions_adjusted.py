"""Conditions compared at equal speed, or at equal stride time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement.conditions_adjusted import AdjustedRatio, compare_conditions_adjusted
from twinangle.analysis.conditions import ONE_CONDITION, QUANTITY, base_condition
from twinangle.analysis.groups import Groups, attempt, unique
from twinangle.options import Options
from twinangle.results.pooled import Absent, Pooled
from twinangle.results.trial_result import TrialResult

if TYPE_CHECKING:
    import pandas as pd

COVARIATES = ("speed_m_s", "stride_time_s")


def pool(groups: Groups, options: Options) -> tuple[Pooled[AdjustedRatio], ...]:
    """Return the wearable's SD under the conditions at equal speed and stride time."""
    good = [t for t in groups.good if t.wearable_variability is not None]
    if not good:
        return ()
    if len(unique(t.condition for t in good)) < 2:
        return (Pooled("", "", QUANTITY, Absent(ONE_CONDITION)),)
    base = base_condition(good, options)
    return tuple(
        item
        for procedure in unique(t.procedure for t in good)
        for covariate in COVARIATES
        for item in _adjusted([t for t in good if t.procedure == procedure], base, covariate,
                              options)
    )  # fmt: skip


def _adjusted(
    trials: Sequence[TrialResult], base: str, covariate: str, options: Options
) -> list[Pooled[AdjustedRatio]]:
    """Return each condition's ratio at one covariate, or why there is none."""
    frame = _covariate_frame(trials)
    known = int(frame[covariate].notna().sum())
    reason = ONE_CONDITION if frame["condition"].nunique() < 2 else ""
    if not reason and known < len(frame):
        reason = (
            f"{known} of {len(frame)} trials have it; every trial must."
            if known
            else "no trial has it."
        )
    several = attempt(
        lambda: compare_conditions_adjusted(
            frame,
            against=base,
            covariates=[covariate],
            variability=[
                t.wearable_variability for t in trials if t.wearable_variability is not None
            ],
            confidence=options.confidence,
        ),
        reason,
    )
    procedure = trials[0].procedure
    if isinstance(several, Absent):
        return [Pooled(procedure, "", QUANTITY, Absent(several.reason, covariate))]
    return [Pooled(procedure, one.condition, QUANTITY, one) for one in several]


def _covariate_frame(trials: Sequence[TrialResult]) -> pd.DataFrame:
    """Return one row a trial: whose it is, and the covariates, NaN where not known."""
    import pandas as pd

    return pd.DataFrame(
        {
            "participant": [t.participant for t in trials],
            "condition": [t.condition for t in trials],
            "speed_m_s": [
                pd.to_numeric(t.covariates.get("speed_m_s"), errors="coerce") for t in trials
            ],
            "stride_time_s": [
                t.strides.duration_mean_s if t.strides is not None else np.nan for t in trials
            ],
        }
    )
