"""From trials to the study: limits of agreement and conditions, with participants as clusters."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pandas as pd

from twinangle.agreement._result import NO_INTERVAL
from twinangle.agreement.along_cycle import (
    CurveDifference,
    FunctionalLimits,
    difference_along_cycle,
    functional_limits,
)
from twinangle.agreement.budget import (
    PARTS,
    ErrorBudget,
    PooledBudget,
    error_budget,
    pool_budgets,
)
from twinangle.agreement.conditions import ConditionDifference, compare_conditions
from twinangle.agreement.equivalence import (
    Equivalence,
    judge_limits,
    limits_without_reference_error,
)
from twinangle.agreement.limits import (
    LimitsOfAgreement,
    limits_of_agreement,
    within_participant_limits,
)
from twinangle.agreement.ranking import Contest, rank_procedures
from twinangle.options import Options
from twinangle.results import PooledLimits, TrialResult
from twinangle.signals.recording import Array

# One number a cycle and instrument, the quantities that limits of agreement are given for.
FEWEST_FOR_BANDS = 4
_ONE_REFERENCE = (
    "One participant: an error of the reference that stays as it is through a recording (its zero, "
    "its mounting, its calibration) does not spread these differences, so the stated one cannot be "
    "taken out of them."
)
QUANTITIES = ("mean_deg", "peak_flexion_deg", "range_deg")


def cycle_quantity(curves: Array, quantity: str) -> Array:
    """Return one number a cycle.

    Parameters
    ----------
    curves : ndarray, shape (n_cycles, n_points)
        Degrees.
    quantity : str
        "mean_deg", the mean over the cycle; "peak_flexion_deg", the largest flexion; or
        "range_deg", largest minus smallest.

    Returns
    -------
    ndarray, shape (n_cycles,)
        Degrees.

    Raises
    ------
    ValueError
        If `quantity` is none of the three.
    """
    if quantity == "mean_deg":
        return np.asarray(curves.mean(axis=1))
    if quantity == "peak_flexion_deg":
        return np.asarray(curves.max(axis=1))
    if quantity == "range_deg":
        return np.asarray(np.ptp(curves, axis=1))
    raise ValueError(f"`quantity` must be one of {', '.join(QUANTITIES)}, got {quantity!r}.")


def pool_limits(trials: Sequence[TrialResult], options: Options) -> tuple[PooledLimits, ...]:
    """Return limits of agreement for each procedure, condition and quantity with a reference.

    Where the reference's own error is stated, limits without it stand beside.
    """
    return tuple(
        _pool(procedure, condition, quantity, several, options)
        for procedure, condition, several in groups(trials)
        for quantity in QUANTITIES
    )


def pool_equivalence(
    limits: Sequence[PooledLimits], options: Options
) -> tuple[tuple[str, str, str, Equivalence], ...]:
    """Judge the pooled limits, by their own intervals, against the margin.

    Without a margin stated beforehand nothing is judged.
    """
    if options.margin_deg is None:
        return ()
    return tuple(
        (
            item.procedure,
            item.condition,
            item.quantity,
            judge_limits(item.limits, options.margin_deg),
        )
        for item in limits
        if item.limits is not None
    )


def pool_error_budgets(
    trials: Sequence[TrialResult], options: Options
) -> tuple[tuple[str, str, PooledBudget], ...]:
    """Average the participants' error budgets; one participant's trials are taken together."""
    return tuple(
        (
            procedure,
            condition,
            pool_budgets(_budgets(several, options), confidence=options.confidence),
        )
        for procedure, condition, several in groups(trials)
    )


def pool_along_cycle(
    trials: Sequence[TrialResult], options: Options
) -> tuple[tuple[str, str, FunctionalLimits, CurveDifference], ...]:
    """Return limits at every point of the cycle, wherever there are at least four participants."""
    found, rng = [], options.generator()
    for procedure, condition, several in groups(trials):
        people, wearable, reference = _curves(several)
        if len(set(people)) < FEWEST_FOR_BANDS:
            continue
        limits = functional_limits(wearable, reference, people, confidence=options.confidence)
        difference = difference_along_cycle(
            wearable, reference, people, rng=rng, alpha=1 - options.confidence
        )
        found.append((procedure, condition, limits, difference))
    return tuple(found)


def _curves(trials: Sequence[TrialResult]) -> tuple[list[str], Array, Array]:
    """Return whose each kept cycle is, and the two instruments' curves."""
    sets = [
        (trial.participant, trial.cycles, trial.cycles.reference_deg)
        for trial in trials
        if trial.cycles is not None
    ]
    kept = [
        (person, cycles.wearable_deg[cycles.kept], reference[cycles.kept])
        for person, cycles, reference in sets
        if reference is not None
    ]
    people = [person for person, wearable, _ in kept for _ in wearable]
    return people, np.concatenate([w for _, w, _ in kept]), np.concatenate([r for *_, r in kept])


def _budgets(trials: Sequence[TrialResult], options: Options) -> list[ErrorBudget]:
    """Return one budget a participant.

    That of one participant alone is over all their cycles, for its intervals are. Of several each
    is the mean over the trials' own: cycles of both legs, or of two sessions, thrown together
    would turn the difference of their curves into variation from cycle to cycle.
    """
    people = unique(trial.participant for trial in trials)
    if len(people) == 1:
        _, wearable, reference = _curves(trials)
        return [error_budget(wearable, reference, confidence=options.confidence)]
    return [
        _mean_budget([t for t in trials if t.participant == person], options) for person in people
    ]


def _mean_budget(trials: Sequence[TrialResult], options: Options) -> ErrorBudget:
    """Return the mean of the trials' budgets, every trial counting the same; no intervals."""
    budgets = [
        trial.budget or error_budget(*_curves([trial])[1:], confidence=options.confidence)
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


def pool_contests(
    trials: Sequence[TrialResult], options: Options
) -> tuple[tuple[str, Contest], ...]:
    """Rank the procedures by RMS demeaned in each condition with a reference."""
    rows = [
        (t.participant, f"{t.session} {t.trial} {t.side}", t.procedure, t.condition, t.agreement)
        for t in trials
        if t.status == "ok" and t.agreement is not None
    ]
    contests = []
    for condition in unique(row[3] for row in rows):
        frame = pd.DataFrame(
            [(*row[:3], row[4].rms_demeaned) for row in rows if row[3] == condition],
            columns=["participant", "trial", "procedure", "value"],
        )
        n_procedures = len(unique(frame["procedure"]))
        if (
            n_procedures > 1
            and frame.groupby(["participant", "trial"]).size().max() == n_procedures
        ):
            found = rank_procedures(frame, confidence=options.confidence)
            contests.append((condition, found))
    return tuple(contests)


def groups(trials: Sequence[TrialResult]) -> list[tuple[str, str, list[TrialResult]]]:
    """Return the trials with a reference, by procedure and condition."""
    compared = [t for t in trials if t.status == "ok" and t.agreement is not None]
    return [
        (procedure, condition, several)
        for procedure in unique(t.procedure for t in compared)
        for condition in unique(t.condition for t in compared)
        if (several := _of(compared, procedure, condition))
    ]


def _all_points(trials: Sequence[TrialResult], quantity: str) -> pd.DataFrame:
    return pd.concat([_points(trial, quantity) for trial in trials], ignore_index=True)


def _of(trials: Sequence[TrialResult], procedure: str, condition: str) -> list[TrialResult]:
    return [t for t in trials if t.procedure == procedure and t.condition == condition]


def _pool(
    procedure: str,
    condition: str,
    quantity: str,
    trials: Sequence[TrialResult],
    options: Options,
) -> PooledLimits:
    points = _all_points(trials, quantity)
    difference = points["wearable"] - points["reference"]
    people = list(dict.fromkeys(points["participant"]))
    corrected, published = None, None
    limits = _limits(difference, points["participant"], options)
    unknown = _unknown_zero(trials, quantity)
    zeroed = (
        None if unknown else _limits(difference - points["zero"], points["participant"], options)
    )
    uncorrected = ""
    if len(people) == 1:
        uncorrected = _ONE_REFERENCE if options.reference_sd_deg is not None else ""
        note = (
            f"One participant ({people[0]}): these are limits within this participant, over "
            f"{len(points)} cycles. They say nothing about other people."
        )
    else:
        participant = points["participant"].to_numpy()
        if options.published_interval and len(points) > len(people):
            published = limits_of_agreement(
                difference.to_numpy(),
                participant,
                confidence=options.confidence,
                form="pooled-within",
            )
        if options.reference_sd_deg is not None:
            corrected = limits_without_reference_error(
                difference.to_numpy(),
                options.reference_sd_deg,
                participant,
                confidence=options.confidence,
            )
        note = (
            f"{len(points)} cycles of {len(people)} participants; participants are what was "
            "sampled, so the intervals are over participants."
        )
    return PooledLimits(
        procedure=procedure,
        condition=condition,
        quantity=quantity,
        limits=limits,
        note=note,
        participant=tuple(points["participant"]),
        size=tuple(((points["wearable"] + points["reference"]) / 2).tolist()),
        difference=tuple(difference.tolist()),
        corrected=corrected,
        published=published,
        corrected_note=uncorrected,
        zeroed=zeroed,
        zeroed_note=unknown,
        zero=tuple(points["zero"].tolist()),
    )


def _limits(difference: pd.Series, participant: pd.Series, options: Options) -> LimitsOfAgreement:
    """Return limits over participants, or over the cycles of the only one."""
    if len(unique(participant)) == 1:
        return within_participant_limits(difference.to_numpy(), confidence=options.confidence)
    return limits_of_agreement(
        difference.to_numpy(), participant.to_numpy(), confidence=options.confidence
    )


def _unknown_zero(trials: Sequence[TrialResult], quantity: str) -> str:
    """Return why limits with both instruments zeroed cannot be given; empty if they can."""
    if quantity == "range_deg":
        return "a range of motion does not depend on the zeros."
    reasons: dict[str, list[str]] = {}
    for trial in trials:
        if not np.isfinite(_zero(trial)):
            why = trial.standing.unknown if trial.standing else "neutral standing is not given."
            reasons.setdefault(why, []).append(trial.label)
    return " ".join(f"{', '.join(names)}: {why}" for why, names in reasons.items())


def _zero(trial: TrialResult) -> float:
    return trial.standing.difference_deg if trial.standing is not None else float("nan")


def _points(trial: TrialResult, quantity: str) -> pd.DataFrame:
    cycles = trial.cycles
    if cycles is None or cycles.reference_deg is None:
        raise ValueError(f"{trial.label}: no reference curves to pool.")
    return pd.DataFrame(
        {
            "participant": trial.participant,
            "wearable": cycle_quantity(cycles.wearable_deg[cycles.kept], quantity),
            "reference": cycle_quantity(cycles.reference_deg[cycles.kept], quantity),
            "zero": _zero(trial),
        }
    )


def pool_conditions(
    trials: Sequence[TrialResult], options: Options
) -> tuple[tuple[str, str, ConditionDifference], ...]:
    """Compare each condition's wearable per-cycle SD with that of the condition asked for.

    Where none is asked for: the first condition that has a reference, else the first listed.
    """
    good = [t for t in trials if t.status == "ok" and t.wearable_variability is not None]
    conditions = unique(t.condition for t in good)
    if len(conditions) < 2:
        return ()
    base = base_condition(good, options)
    return tuple(
        (procedure, "wearable_sd_deg", item)
        for procedure in unique(t.procedure for t in good)
        for item in _compared([t for t in good if t.procedure == procedure], base, options)
    )


def base_condition(trials: Sequence[TrialResult], options: Options) -> str:
    """Return the condition asked for, else the first with a reference, else the first listed."""
    if options.against is not None and options.against in {t.condition for t in trials}:
        return options.against
    with_reference = [t.condition for t in trials if t.agreement is not None]
    return (with_reference or [t.condition for t in trials])[0]


def _compared(
    trials: Sequence[TrialResult], against: str, options: Options
) -> list[ConditionDifference]:
    """Compare the conditions of one procedure; none where no trial of `against` is good."""
    frame = pd.DataFrame(
        {
            "participant": [t.participant for t in trials],
            "condition": [t.condition for t in trials],
        }
    )
    if against not in set(frame["condition"]):
        return []
    cycles = [t.wearable_variability for t in trials if t.wearable_variability is not None]
    return compare_conditions(
        frame, against=against, variability=cycles, confidence=options.confidence
    )


def unique(names: Iterable[str]) -> list[str]:
    """Return each name once, in order of first appearance."""
    return list(dict.fromkeys(names))
