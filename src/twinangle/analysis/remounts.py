"""Sensors that were put on anew between trials that share one neutral standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from twinangle.plausibility.mounting import Mounting, turned
from twinangle.plausibility.outcome import Outcome
from twinangle.results import TrialResult
from twinangle.signals.recording import Interval
from twinangle.study import Study, Trial
from twinangle.thresholds import told_apart

TEST = "mounting between trials"
MOST_TURN_DEG = 15.0
"""Twice what a sensor that sits still shows within a walk; slopes and speeds change the rest."""


def compare_mountings(study: Study, results: Sequence[TrialResult]) -> tuple[TrialResult, ...]:
    """Return the results with each trial's sensors held against the first of the same mounting.

    Trials of one participant, session and side whose neutral standing, or functional movement, is
    one and the same recording rest on sensors that nobody touched between them. How a sensor sits
    is told by its vertical and its main axis of turning in walking, see
    :func:`twinangle.plausibility.mounting.turned`.
    """
    rows = {
        (*trial.identity, part.wearable): own
        for trial in study.trials
        for part, own in study.rows_of(trial)
    }
    first: dict[object, TrialResult] = {}
    found = []
    for result in results:
        trial = rows.get((*_identity(result), result.wearable))
        unknown = trial is None or not result.mounting
        shared = () if trial is None or unknown else _shared(trial, result.wearable)
        earlier = [first.setdefault(key, result) for key in shared]
        other = next((one for one in earlier if _identity(one) != _identity(result)), None)
        told = result if other is None else _held_against(result, other)
        found.append(replace(told, mounting=()))  # it has served
    return tuple(found)


def _identity(result: TrialResult) -> tuple[str, str, str, str, str]:
    return result.participant, result.session, result.condition, result.trial, result.side


def _shared(trial: Trial, wearable: str) -> tuple[object, ...]:
    """Return the recordings of their own that the trial's mounting rests on, with their side."""
    parts = (("standing", trial.static), ("functional", trial.functional))
    return tuple(
        (name, trial.participant, trial.session, trial.side, wearable, part)
        for name, part in parts
        if part is not None and not isinstance(part, Interval)
    )


def _held_against(result: TrialResult, other: TrialResult) -> TrialResult:
    outcomes = tuple(
        _judge(mine, theirs, other.label)
        for mine, theirs in zip(result.mounting, other.mounting, strict=True)
    )
    doubts = tuple(one.told for one in outcomes if one.verdict == "doubtful")
    return replace(
        result,
        plausibility=(*result.plausibility, *outcomes),
        warnings=(*doubts, *result.warnings) if result.status == "ok" else result.warnings,
    )


def _judge(mine: Mounting, theirs: Mounting, other: str) -> Outcome:
    size = turned(theirs, mine)
    if size <= MOST_TURN_DEG:
        return Outcome(TEST, mine.subject, "consistent", size, MOST_TURN_DEG, "deg")
    shown, bound = told_apart(size, MOST_TURN_DEG)
    said = (
        f"in walking it sits {shown}° otherwise on its segment than in {other} (more than "
        f"{bound}°), although both trials rest on one recording of neutral standing or functional "
        "movement: it was put on anew, slipped, or its axes changed in between. Give each mounting "
        "a standing of its own (`static`), or leave out the trials that this one does not belong "
        "to."
    )
    return Outcome(TEST, mine.subject, "doubtful", size, MOST_TURN_DEG, "deg", said)
