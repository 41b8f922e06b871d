"""Participants' error budgets and their mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from functools import partial
from typing import Any

import numpy as np

from twinangle.agreement._result import NO_INTERVAL
from twinangle.agreement.budget import PARTS, ErrorBudget, error_budget
from twinangle.agreement.pooled_budget import PooledBudget, pool_budgets
from twinangle.analysis.groups import Group, Groups, both_curves, pooled
from twinangle.options import Options
from twinangle.results.pooled import Pooled
from twinangle.results.trial_result import TrialResult


def pool(groups: Groups, options: Options) -> tuple[Pooled[PooledBudget], ...]:
    """Average the participants' error budgets; one participant's trials are taken together."""
    return tuple(pooled(group, "", partial(_pooled, group, options)) for group in groups.compared)


def _pooled(group: Group, options: Options) -> PooledBudget:
    return pool_budgets(_budgets(group, options), confidence=options.confidence)


def _budgets(group: Group, options: Options) -> list[ErrorBudget]:
    """Return one budget a participant.

    That of one participant alone is over all their cycles, for its intervals are. Of several each
    is the mean over the trials' own: cycles of both legs, or of two sessions, thrown together
    would turn the difference of their curves into variation from cycle to cycle.
    """
    people = group.people
    if len(people) == 1:
        _, wearable, reference = both_curves(group.trials)
        return [error_budget(wearable, reference, confidence=options.confidence)]
    return [
        _mean_budget([t for t in group.trials if t.participant == person], options)
        for person in people
    ]


def _mean_budget(trials: Sequence[TrialResult], options: Options) -> ErrorBudget:
    """Return the mean of the trials' budgets, every trial counting the same; no intervals."""
    budgets = [
        trial.budget or error_budget(*both_curves([trial])[1:], confidence=options.confidence)
        for trial in trials
    ]
    if len(budgets) == 1:
        return budgets[0]
    names = [item.name for item in fields(ErrorBudget)]
    means: dict[str, Any] = {
        name: float(np.mean([getattr(one, name) for one in budgets]))
        for name in ("total", *PARTS, "gain", "shift")
    }
    none: dict[str, Any] = {name: NO_INTERVAL for name in names if name.endswith(("_ci", "_span"))}
    n_cycles = sum(one.n_cycles for one in budgets)
    return replace(budgets[0], **means, **none, n_cycles=n_cycles)
