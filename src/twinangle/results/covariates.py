"""What the participants were like: covariates of the trials table over participants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Annotated

from twinangle.declare import number
from twinangle.results.grouping import distinct, worked_recordings
from twinangle.results.model import StudyResults


@dataclass(frozen=True, slots=True)
class CovariateSummary:
    """One numeric covariate over the participants of one condition."""

    covariate: Annotated[str, number("as the trials table names it")]
    condition: Annotated[str, number("the condition; empty where it is the same in all")]
    n_participants: Annotated[int, number("participants of whom it is known")]
    mean: Annotated[float, number("mean of the participants' means")]
    sd: Annotated[float, number("their standard deviation (n - 1); NaN with one")]
    low: Annotated[float, number("smallest of them")]
    high: Annotated[float, number("largest of them")]


def covariate_summaries(results: StudyResults) -> tuple[CovariateSummary, ...]:
    """Return mean, SD and range of every numeric covariate, by condition where they differ.

    A participant counts once, with the mean over the own recordings that were analysed.
    """
    trials = worked_recordings(results)
    found = []
    for name in distinct(key for trial in trials for key in trial.covariates):
        people: dict[str, dict[str, list[float]]] = {}
        for trial in trials:
            value = trial.covariates.get(name)
            if isinstance(value, int | float) and not isinstance(value, bool):
                own = people.setdefault(trial.condition, {}).setdefault(trial.participant, [])
                own.append(float(value))
        means = {c: {p: fmean(v) for p, v in of.items()} for c, of in people.items()}
        found += _summaries(name, means)
    return tuple(found)


def _summaries(name: str, means: Mapping[str, Mapping[str, float]]) -> list[CovariateSummary]:
    """Return one summary where every condition has the same, else one a condition."""
    if not means:
        return []
    first = next(iter(means.values()))
    shown = {"": first} if all(each == first for each in means.values()) else means
    return [
        CovariateSummary(
            covariate=name,
            condition=condition,
            n_participants=len(of),
            mean=fmean(of.values()),
            sd=stdev(of.values()) if len(of) > 1 else float("nan"),
            low=min(of.values()),
            high=max(of.values()),
        )
        for condition, of in shown.items()
    ]
