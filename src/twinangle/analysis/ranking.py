"""Procedures on the same trials, ranked."""

from __future__ import annotations

from functools import partial

import pandas as pd

from twinangle.agreement.ranking import Contest, rank_procedures
from twinangle.analysis.groups import Groups, attempt, unique
from twinangle.options import Options
from twinangle.results.pooled import Pooled

QUANTITY = "rms_demeaned_deg"
LEAST_DEG = 0.1
"""Smallest difference of two procedures' errors that sets them apart, however sure it is. Own rule,
no source."""


def pool(groups: Groups, options: Options) -> tuple[Pooled[Contest], ...]:
    """Rank the procedures by RMS demeaned in each condition with a reference."""
    rows = [
        (t.participant, f"{t.session} {t.trial} {t.side}", t.procedure, t.condition, t.agreement)
        for t in groups.good
        if t.agreement is not None
    ]
    found = []
    for condition in unique(row[3] for row in rows):
        frame = pd.DataFrame(
            [(*row[:3], row[4].rms_demeaned) for row in rows if row[3] == condition],
            columns=["participant", "trial", "procedure", "value"],
        )
        rank = partial(
            rank_procedures,
            frame,
            confidence=options.confidence,
            quantity=QUANTITY,
            least=LEAST_DEG,
        )
        found.append(Pooled("", condition, QUANTITY, attempt(rank, _not_ranked(frame))))
    return tuple(found)


def _not_ranked(frame: pd.DataFrame) -> str:
    """Return why there is nothing to rank; empty where there is."""
    n_procedures = len(unique(frame["procedure"]))
    if n_procedures == 1:
        return "one procedure; a ranking needs several."
    if frame.groupby(["participant", "trial"]).size().max() != n_procedures:
        return "no trial has every procedure."
    return ""
