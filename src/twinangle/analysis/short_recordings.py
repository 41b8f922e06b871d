"""Recordings too short for curves of their own, taken together person by person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from twinangle.agreement._result import counted
from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.cycles.enough import CYCLES_FOR_MEAN, LEAST_CYCLES
from twinangle.cycles.summary import stride_summary
from twinangle.options import Options
from twinangle.results import NeutralStanding, PooledRecording, TrialResult, Variability
from twinangle.signals.recording import Array, CycleSet

Whose = tuple[str, str, str, str, str]  # participant, session, condition, side, procedure


def pool_short(
    trials: Sequence[TrialResult], options: Options
) -> tuple[tuple[TrialResult, ...], tuple[PooledRecording, ...], tuple[TrialResult, ...]]:
    """Pool the cycles of a person's short recordings in one session, condition and side.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study.
    options : Options
        What the run was asked for.

    Returns
    -------
    trials : tuple of TrialResult
        The same; a short one whose cycles cannot be pooled either has failed, with both reasons.
    pooled : tuple of PooledRecording
        One for each person, session, condition, side and procedure with a recording that keeps
        fewer than three cycles, or why there is none.
    standing_in : tuple of TrialResult
        What the topics over trials start from: pooled recordings in the place of their members.

    Notes
    -----
    Where one recording keeps fewer than three cycles, those of that person that keep fewer than
    ten, the number a mean curve needs, are pooled with it; each cycle then counts once and the
    same. Differences between the recordings (a sensor's seat, speed) are part of the SD over
    cycles. Own rule, no source.
    """
    told, pooled = list(trials), []
    stand_in: dict[int, TrialResult | None] = {}
    for members in _groups(trials):
        several = [trials[k] for k in members]
        one, together = _pool(several, options)
        pooled.append(one)
        for k in members:
            stand_in[k] = None
            if together is None and trials[k].status == "pooled":
                told[k] = replace(
                    trials[k], status="failed", reason=f"{trials[k].reason} {one.reason}"
                )
        stand_in[members[0]] = together
    standing_in = [stand_in.get(k, trial) for k, trial in enumerate(trials)]
    return tuple(told), tuple(pooled), tuple(trial for trial in standing_in if trial is not None)


def _groups(trials: Sequence[TrialResult]) -> Iterator[list[int]]:
    """Yield the places of trials that are pooled, group by group."""
    by_whose: dict[Whose, list[int]] = {}
    for k, trial in enumerate(trials):
        few = trial.cycles is not None and trial.cycles.kept.sum() < CYCLES_FOR_MEAN
        if trial.status == "pooled" or (trial.status == "ok" and few):
            whose = (trial.participant, trial.session, trial.condition, trial.side, trial.procedure)
            by_whose.setdefault(whose, []).append(k)
    for members in by_whose.values():
        if any(trials[k].status == "pooled" for k in members):
            yield members


def _pool(
    trials: Sequence[TrialResult], options: Options
) -> tuple[PooledRecording, TrialResult | None]:
    """Return what a person's short recordings give together, and the trial they stand for."""
    first = trials[0]
    sets = [trial.cycles for trial in trials if trial.cycles is not None]
    kept = sum(int(cycles.kept.sum()) for cycles in sets)
    blank = PooledRecording(
        participant=first.participant,
        session=first.session,
        condition=first.condition,
        side=first.side,
        procedure=first.procedure,
        trials=tuple(trial.trial for trial in trials),
        n_cycles=kept,
    )
    if kept < LEAST_CYCLES:
        reason = (
            f"Pooled over this person's {counted(len(trials), 'short recording')} of the condition "
            f"there are {counted(kept, 'cycle')}, and at least {LEAST_CYCLES} are needed."
        )
        return replace(blank, reason=reason), None
    together = _together(trials, sets, options)
    spread = _without_cycles(together.variability)
    return replace(blank, agreement=together.agreement, variability=spread), together


def _without_cycles(found: Variability | None) -> Variability | None:
    """Leave the cycles themselves to the table of cycles, which has them trial by trial."""
    if found is None:
        return None
    nothing = np.zeros((0, 0))
    reference = found.reference
    return replace(
        found,
        wearable=replace(found.wearable, curves=nothing),
        reference=None if reference is None else replace(reference, curves=nothing),
    )


def _together(
    trials: Sequence[TrialResult], sets: Sequence[CycleSet], options: Options
) -> TrialResult:
    """Return a trial that holds the kept cycles of several, with its own statistics."""
    cycles, confidence = _joined(sets), options.confidence
    wearable, reference = cycles.wearable_deg, cycles.reference_deg
    result = replace(
        trials[0],
        trial=" + ".join(trial.trial for trial in trials),
        status="ok",
        reason="",
        cycles=cycles,
        paired=None,
        agreement=None,
        over_time=None,
        budget=None,
        exclusions=None,
        timing_cost=None,
        standing=_standing(trials),
        strides=stride_summary(cycles),
        variability=Variability(cycle_variability(wearable, confidence=confidence)),
        covariates=_covariates(trials),
        common=None,
    )
    if reference is None:
        return result
    return replace(
        result,
        agreement=compare_curves(wearable, reference, confidence=confidence),
        variability=Variability(
            cycle_variability(wearable, confidence=confidence),
            cycle_variability(reference, confidence=confidence),
            compare_variability(wearable, reference, confidence=confidence),
        ),
        budget=error_budget(wearable, reference, confidence=confidence),
    )


def _joined(sets: Sequence[CycleSet]) -> CycleSet:
    """Return the kept cycles of several recordings, each recording a bout of its own."""

    def kept(name: str) -> Array:
        return np.concatenate([getattr(cycles, name)[cycles.kept] for cycles in sets])

    counts = [int(cycles.kept.sum()) for cycles in sets]
    seen = all(cycles.reference_deg is not None for cycles in sets)
    return CycleSet(
        start_s=kept("start_s"),
        end_s=kept("end_s"),
        reason=("",) * sum(counts),
        wearable_deg=kept("wearable_deg"),
        reference_deg=kept("reference_deg") if seen else None,
        method=sets[0].method,
        bout=np.repeat(np.arange(1, len(sets) + 1), counts),
    )


def _standing(trials: Sequence[TrialResult]) -> NeutralStanding:
    """Return the mean of both instruments in standing, a recording as often as it has cycles."""
    parts = [trial.standing or NeutralStanding() for trial in trials]
    weights = [0 if t.cycles is None else int(t.cycles.kept.sum()) for t in trials]
    wearable, reference = (
        float(np.average([getattr(part, name) for part in parts], weights=weights))
        for name in ("wearable_deg", "reference_deg")
    )
    known = np.isfinite(wearable + reference)
    return NeutralStanding(
        wearable, reference, "" if known else "one of the pooled recordings does not know it."
    )


def _covariates(trials: Sequence[TrialResult]) -> dict[str, bool | int | float | str]:
    """Return the covariates that all share, numbers as their mean."""
    found: dict[str, bool | int | float | str] = {}
    for name in trials[0].covariates:
        values = [trial.covariates.get(name) for trial in trials]
        numbers = [v for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
        if len(numbers) == len(values):
            found[name] = float(np.mean(numbers))
        elif all(value == values[0] for value in values):
            found[name] = trials[0].covariates[name]
    return found
