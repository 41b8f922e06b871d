"""Procedures on the same trials, ranked."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from twinangle.agreement.ranking import Contest, rank_procedures
from twinangle.analysis.groups import Groups, attempt, unique
from twinangle.options import Options
from twinangle.results import TrialResult
from twinangle.results.pooled import Pooled
from twinangle.under_test import reference_of, under_test, wearable_of

if TYPE_CHECKING:
    import pandas as pd

QUANTITY = "rms_demeaned_deg"
LEAST_DEG = 0.1
"""Smallest difference of two procedures' errors that sets them apart, however sure it is. Own rule,
no source."""


def pool(groups: Groups, options: Options) -> tuple[Pooled[Contest], ...]:
    """Rank the procedures by RMS demeaned in each condition with a reference.

    Procedures of several wearables are ranked on the cycles that every wearable keeps, those
    against several references each by itself.
    """
    import pandas as pd

    several = len(unique(wearable_of(t.procedure) for t in groups.good)) > 1
    rows = [
        (
            (t.condition, reference_of(t.procedure)),
            (t.participant, f"{t.session} {t.trial} {t.side}", t.procedure, _error(t, several)),
        )
        for t in groups.good
        if t.agreement is not None
    ]
    found = []
    for condition, against in dict.fromkeys(place for place, _ in rows):
        frame = pd.DataFrame(
            [row for place, row in rows if place == (condition, against)],
            columns=["participant", "trial", "procedure", "value"],
        )
        rank = partial(
            rank_procedures,
            frame,
            confidence=options.confidence,
            quantity=QUANTITY,
            least=LEAST_DEG,
        )
        name = under_test("", "", against)
        found.append(Pooled(name, condition, QUANTITY, attempt(rank, _not_ranked(frame))))
    return tuple(found)


def _error(trial: TrialResult, several: bool) -> float:
    """Return what a trial is ranked by; NaN where it has nothing on common cycles."""
    if several:
        return float("nan") if trial.common is None else trial.common.rms_demeaned
    return float("nan") if trial.agreement is None else trial.agreement.rms_demeaned


def _not_ranked(frame: pd.DataFrame) -> str:
    """Return why there is nothing to rank; empty where there is."""
    n_procedures = len(unique(frame["procedure"]))
    if n_procedures == 1:
        return "one procedure; a ranking needs several."
    if frame.groupby(["participant", "trial"]).size().max() != n_procedures:
        return "no trial has every procedure."
    return ""
