"""Limits at every point of the cycle, and where along it the instruments differ."""

from __future__ import annotations

from functools import partial

import numpy as np

from twinangle.agreement.along_cycle import difference_along_cycle, functional_limits
from twinangle.analysis.groups import Group, Groups, both_curves, pooled
from twinangle.options import Options
from twinangle.results.designs import AlongCycle
from twinangle.results.pooled import Pooled

FEWEST_FOR_BANDS = 4


def pool(groups: Groups, options: Options) -> tuple[Pooled[AlongCycle], ...]:
    """Return limits at every point of the cycle, wherever there are at least four participants."""
    rng = options.generator()
    return tuple(
        pooled(group, "", partial(_along_cycle, group, options, rng), _too_few(group))
        for group in groups.compared
    )


def _too_few(group: Group) -> str:
    n = len(group.people)
    if n >= FEWEST_FOR_BANDS:
        return ""
    noun = "participant" if n == 1 else "participants"
    return f"{n} {noun}; limits along the cycle need {FEWEST_FOR_BANDS}."


def _along_cycle(group: Group, options: Options, rng: np.random.Generator) -> AlongCycle:
    people, wearable, reference = both_curves(group.trials)
    return AlongCycle(
        limits=functional_limits(wearable, reference, people, confidence=options.confidence),
        difference=difference_along_cycle(
            wearable, reference, people, rng=rng, alpha=1 - options.confidence
        ),
    )
