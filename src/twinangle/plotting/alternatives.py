"""What a figure shows, in one sentence with its numbers, for readers who cannot see it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.pooled_budget import PooledBudget
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.agreement.ranking import Contest
from twinangle.cycles.daily_life import DailyLife
from twinangle.results import (
    Absent,
    AlongCycle,
    Pooled,
    Reliability,
    SensorRecord,
    StudyLimits,
    TrialResult,
)
from twinangle.results.grouping import TrialGroup
from twinangle.results.instruments import LimitsBetween
from twinangle.signals.recording import Array, Synchronisation
from twinangle.wording import NOTHING, count, listing, number, quantity_name, span


def _degrees(values: Array | Iterable[float], decimals: int = 1) -> str:
    """Return smallest and largest in words: `−1.0 to 2.0°`."""
    found = values if isinstance(values, np.ndarray) else list(values)
    known = np.ravel(np.asarray(found, dtype=float))
    known = known[np.isfinite(known)]
    shown = span([float(known.min()), float(known.max())] if known.size else [], decimals)
    return shown if shown == NOTHING else f"{shown}°"


def _where(*names: str) -> str:
    return ", ".join(name for name in names if name)


def of_limits(members: Sequence[tuple[Pooled[StudyLimits], StudyLimits]]) -> str:
    """Say bias and limits of each quantity drawn."""
    first = members[0][0]
    said = [
        f"{quantity_name(pooled.quantity).lower()}, bias {number(found.limits.bias)}°, limits of "
        f"agreement {_degrees((found.limits.lower, found.limits.upper), 2)} "
        f"({count(found.limits.n_observations, 'cycle')})"
        for pooled, found in members
    ]
    return f"Wearable minus reference, {_where(first.condition, first.procedure)}: " + (
        "; ".join(said) + "."
    )


def of_daily_life(daily: DailyLife) -> str:
    """Say how much was walked, and what share of it the reference saw."""
    ranges = [bout.range_deg for bout in daily.bouts]
    seen = sum(one.n_with_reference for one in daily.bins if one.by == "cadence")
    return (
        f"{count(len(daily.bouts), 'bout')} over {daily.duration_h:.1f} h, the median ranges of "
        f"motion {_degrees(np.array(ranges))}; of {count(daily.n_strides, 'stride')} {seen} have a "
        "reference."
    )


def of_limits_between(members: Sequence[LimitsBetween]) -> str:
    """Say mean difference and limits of each quantity of two instruments."""
    said = [
        f"{quantity_name(one.quantity).lower()}, mean difference {number(one.value.bias)}°, limits "
        f"of agreement {_degrees((one.value.lower, one.value.upper), 2)} "
        f"({count(one.value.n_observations, 'cycle')})"
        for one in members
        if not isinstance(one.value, Absent)
    ]
    first = members[0]
    where = _where(first.condition, first.procedure)
    return f"{first.first} minus {first.second}, {where}: {'; '.join(said)}."


def of_sessions(members: Sequence[tuple[str, Reliability]]) -> str:
    """Say the error of measurement of each quantity drawn, and over how many."""
    said = [
        f"{quantity_name(quantity).lower()}, standard error of measurement "
        f"{number(found.error.sem)}°"
        for quantity, found in members
        if not isinstance(found.error, Absent)
    ]
    one = members[0][1]
    return (
        f"{count(len(one.people), 'participant')} in {count(len(one.columns), 'session')}, each "
        f"person's values about their own mean: {'; '.join(said)}."
    )


def of_group_curves(condition: str, curves: PooledCurves) -> str:
    """Say where both mean curves run, and their difference."""
    apart = curves.test_mean - curves.reference_mean
    return (
        f"Mean over the cycle of {count(curves.n_participants, 'participant')}"
        f"{f', {condition}' if condition else ''}: wearable {_degrees(curves.test_mean)}, "
        f"reference {_degrees(curves.reference_mean)}, their difference {_degrees(apart)}."
    )


def of_participants(trials: Sequence[TrialResult]) -> str:
    """Say between which numbers the recordings lie."""
    paired = [trial.agreement for trial in trials if trial.agreement is not None]
    spreads = [t.wearable_variability for t in trials if t.wearable_variability is not None]
    text = f"{count(len(trials), 'recording')}: "
    if paired:
        text += (
            f"offset {_degrees((each.offset for each in paired), 2)}, RMS of the demeaned mean "
            f"curves {_degrees((each.rms_demeaned for each in paired), 2)}, "
        )
    return f"{text}the wearable's SD over cycles {_degrees((each.sd for each in spreads), 2)}."


def of_small_multiples(trials: Sequence[TrialResult]) -> str:
    """Say how far the mean curves of a recording lie apart at most."""
    most = [
        float(np.abs(each.test_mean - each.reference_mean).max())
        for each in (trial.agreement for trial in trials)
        if each is not None
    ]
    return (
        f"Mean curves of {count(len(most), 'recording')}: wearable and reference are at most "
        f"{_degrees(most)} apart along the cycle."
    )


def of_conditions(rows: Sequence[tuple[str, ConditionDifference]]) -> str:
    """Say every comparison's difference and ratio."""
    said = [
        f"{row.condition} against {row.against}, {name}: difference {number(row.difference)}°, "
        f"ratio {number(row.ratio)} ({count(row.n_participants, 'participant')})"
        for name, row in rows
    ]
    return f"The wearable's SD over cycles, {'; '.join(said)}."


def of_distribution(found: Sequence[tuple[str, StudyLimits]]) -> str:
    """Say how far the differences reach, and of how many."""
    said = [
        f"{quantity_name(quantity).lower()} {_degrees(limits.difference)} about "
        f"{number(limits.limits.bias)}°"
        for quantity, limits in found
    ]
    n = count(found[0][1].difference.size, "cycle")
    return f"Differences of {n}, wearable minus reference: {'; '.join(said)}."


def of_along_cycle(members: Sequence[tuple[str, AlongCycle]]) -> str:
    """Say where mean difference and limits run, and where the instruments differ."""
    said = []
    for procedure, both in members:
        limits, last = both.limits, both.limits.bias.size - 1
        regions = [
            f"{100 * a / last:.0f} to {100 * b / last:.0f} %" for a, b in both.difference.regions
        ]
        where = f", instruments differ over {listing(regions)} of it" if regions else ""
        said.append(
            f"{procedure}: mean difference {_degrees(limits.bias)}, limits of agreement from "
            f"{number(float(limits.lower.min()), 1)}° to {number(float(limits.upper.max()), 1)}°"
            f"{where}"
        )
    return f"Along the cycle, {'; '.join(said)}."


def of_budgets(
    rows: Sequence[tuple[tuple[str, str, str], PooledBudget]], parts: Mapping[str, str]
) -> str:
    """Say every whole and its largest part."""
    said = []
    for (procedure, condition, _), budget in rows:
        sizes = {name: float(getattr(budget, part)) for part, name in parts.items()}
        largest = max(sizes, key=sizes.__getitem__)
        share = f" ({100 * sizes[largest] / budget.total:.0f} %)" if budget.total > 0 else ""
        said.append(
            f"{_where(procedure, condition)}: {number(budget.total, 1)} deg², most of it "
            f"{largest}{share}"
        )
    return f"Mean squared difference, {'; '.join(said)}."


def of_contest(condition: str, contest: Contest) -> str:
    """Say the ranks and means."""
    said = [f"{contest.before(p)}{p.procedure}, {number(p.mean)}°" for p in contest.standings]
    return f"RMS of the demeaned mean curves{f', {condition}' if condition else ''}: " + (
        "; ".join(said) + "."
    )


def of_fields(shown: Sequence[tuple[str, Sequence[SensorRecord]]]) -> str:
    """Say how far the field's norm strays in each condition."""
    said = []
    for condition, records in shown:
        most = [100 * float(np.nanmax(np.abs(record.norm_deviation))) for record in records]
        said.append(f"{condition or 'every recording'}, by up to {number(max(most), 0)} %")
    return f"The magnetic field's norm strays from its undisturbed value: {'; '.join(said)}."


def of_traces(trial: TrialResult) -> str:
    """Say between which angles both instruments move."""
    paired = trial.paired
    assert paired is not None
    text = (
        f"Flexion of {trial.label} over {number(paired.wearable_deg.size / paired.rate_hz, 0)} s: "
        f"wearable {_degrees(paired.wearable_deg)}"
    )
    seen = paired.reference_deg
    return f"{text}." if seen is None else f"{text}, reference {_degrees(seen)}."


def of_synchronisation(trial: TrialResult, clock: Synchronisation) -> str:
    """Say lag, drift and correlation."""
    parts = [f"lag {number(clock.lag_s, 3)} s"]
    if np.isfinite(clock.drift_ppm):
        parts.append(f"drift {number(clock.drift_ppm, 1)} ppm")
    if np.isfinite(clock.peak_correlation):
        parts.append(f"peak correlation {number(clock.peak_correlation, 3)}")
    return f"Clocks of {trial.label}: {', '.join(parts)}."


def of_cycles(group: TrialGroup) -> str:
    """Say how many cycles there are, and mean and SD of both instruments."""
    trial = group.main
    assert trial.cycles is not None
    both = (("wearable", trial.wearable_variability), ("reference", trial.reference_variability))
    said = [
        f"{name} mean {_degrees(spread.mean_curve)}, SD over cycles {number(spread.sd)}°"
        for name, spread in both
        if spread is not None
    ]
    kept = count(int(trial.cycles.kept.sum()), "kept cycle")
    return f"{kept} of {trial.label}: {'; '.join(said)}."
