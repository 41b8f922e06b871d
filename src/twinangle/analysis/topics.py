"""The one list of topics: what is told of the trials of a study together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from twinangle.analysis import (
    along_cycle,
    budget,
    conditions,
    conditions_adjusted,
    curves,
    equivalence,
    forms,
    limits,
    ranking,
    reliability,
    sensitivity,
    variability,
)
from twinangle.analysis.groups import Groups, group_trials
from twinangle.kept import Steps
from twinangle.options import Options
from twinangle.results.pooled import Pooled
from twinangle.results.trial_result import TrialResult

Topic = Callable[[Groups, Options], tuple[Pooled[Any], ...]]

# A topic's name is that of its file on every floor, and of its field of `StudyResults`.
TOPICS: Mapping[str, Topic] = {
    "limits": limits.pool,
    "forms": forms.pool,
    "curves": curves.pool,
    "variability": variability.pool,
    "conditions": conditions.pool,
    "conditions_adjusted": conditions_adjusted.pool,
    "ranking": ranking.pool,
    "budget": budget.pool,
    "reliability": reliability.pool,
    "equivalence": equivalence.pool,
    "along_cycle": along_cycle.pool,
    "sensitivity": sensitivity.pool,
}
OF_LIMITS = "equivalence"  # judged, not pooled: it takes the limits as they are


def pool_topics(
    trials: Sequence[TrialResult], options: Options, steps: Steps | None = None
) -> dict[str, tuple[Pooled[Any], ...]]:
    """Return every topic of a study's trials, by its name.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study, in the order of the trials table.
    options : Options
        What the run was asked for.
    steps : Steps, optional
        What of earlier runs is kept: a topic is pooled anew where the trials differ, or one of
        the options that it reads.
    """
    groups = cache(lambda: group_trials(trials))

    def pool(options: Options, name: str) -> tuple[Pooled[Any], ...]:
        return TOPICS[name](groups(), options)

    names = {name: name for name in TOPICS if name != OF_LIMITS}
    several = (steps or Steps()).in_order(
        "pooled", pool, names, takes=lambda _: (trials,), of=options
    )
    found = dict(zip(names, several, strict=True))
    return {**found, OF_LIMITS: equivalence.judged(found["limits"], options)}
