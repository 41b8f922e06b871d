"""Tables of single cycles: every cycle found, bouts, the residual angle, and mean curves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from twinangle.cycles.units import bout_units
from twinangle.declare import data, measured, number
from twinangle.results.tables.columns import NAN, row_of
from twinangle.results.tables.identity import OfTrial
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import Array, CycleSet


@dataclass(frozen=True, slots=True)
class CycleResidual(OfTrial):
    """How far the joint's rotation strays from the hinge in one kept cycle."""

    index: Annotated[int, number("number of the cycle within its trial, from 0")]
    start_s: Annotated[float, measured("s", "start of the cycle on the wearable's clock")]
    end_s: Annotated[float, measured("s", "end of the cycle on the wearable's clock")]
    rms_deg: Annotated[float | None, data("RMS angle of the rotation outside the hinge")]
    largest_deg: Annotated[float | None, data("largest angle of the rotation outside the hinge")]


def residual_rows(trials: Iterable[TrialResult]) -> Iterator[CycleResidual]:
    """Yield the residual angle of every kept cycle."""
    for trial in trials:
        for cycle in trial.residual_by_cycle:
            yield row_of(CycleResidual, cycle, trial)


@dataclass(frozen=True, slots=True)
class CycleRow(OfTrial):
    """One cycle found, kept or not, with the size of its curves."""

    cycle: Annotated[int, number("number of the cycle within its trial, from 0")]
    bout: Annotated[
        int | None, number("bout of the cycle, a run of cycles without a pause, from 1; 0 for none")
    ]
    start_s: Annotated[float, measured("s", "start of the cycle on the wearable's clock")]
    end_s: Annotated[float, measured("s", "end of the cycle on the wearable's clock")]
    duration_s: Annotated[float, measured("s", "duration of the cycle")]
    kept: Annotated[bool, number("whether the cycle enters the statistics")]
    reason: Annotated[str, number("why the cycle is left out; empty where it is kept")]
    wearable_mean: Annotated[float, data("mean of the wearable's curve; empty with a gap")]
    wearable_peak: Annotated[float, data("largest angle of the wearable's curve")]
    wearable_range: Annotated[float, data("range of motion of the wearable's curve")]
    reference_mean: Annotated[float, data("mean of the reference's curve; empty with a gap")]
    reference_peak: Annotated[float, data("largest angle of the reference's curve")]
    reference_range: Annotated[float, data("range of motion of the reference's curve")]


def cycle_rows(trials: Iterable[TrialResult]) -> Iterator[CycleRow]:
    """Yield the cycles of every trial, in order of time."""
    for trial in trials:
        cycles = trial.cycles
        if cycles is None:
            continue
        wearable = _sizes(cycles.wearable_deg)
        reference = _sizes(cycles.reference_deg)
        for k, reason in enumerate(cycles.reason):
            yield row_of(
                CycleRow,
                trial,
                {f"wearable_{name}": float(of[k]) for name, of in wearable.items()},
                {f"reference_{name}": float(of[k]) for name, of in reference.items()},
                dict.fromkeys((f"reference_{name}" for name in wearable), NAN),
                cycle_place(cycles, k),
                bout=int(cycles.bout[k]) if cycles.bout.size else None,
                duration_s=float(cycles.duration_s[k]),
                kept=not reason,
                reason=reason,
            )


def cycle_place(cycles: CycleSet, k: int) -> dict[str, Any]:
    """Return number, start and end of a cycle."""
    return {"cycle": k, "start_s": float(cycles.start_s[k]), "end_s": float(cycles.end_s[k])}


def _sizes(curves: Array | None) -> dict[str, Array]:
    """Return mean, peak and range of each curve; NaN where it has a gap; none without curves."""
    if curves is None:
        return {}
    return {
        "mean": np.array([np.mean(curve) for curve in curves]),
        "peak": np.max(curves, axis=1),
        "range": np.ptp(curves, axis=1),
    }


@dataclass(frozen=True, slots=True)
class BoutRow(OfTrial):
    """One bout, a run of cycles without a pause, as a unit: its variability and agreement."""

    bout: Annotated[int | None, number("number of the bout, from 1")]
    start_s: Annotated[float, measured("s", "start of its first cycle, kept or not")]
    end_s: Annotated[float, measured("s", "end of its last cycle, kept or not")]
    found: Annotated[int, number("cycles found")]
    kept: Annotated[int, number("cycles that enter the statistics")]
    duration_mean_s: Annotated[float, measured("s", "mean duration of the kept cycles")]
    duration_sd_s: Annotated[float, measured("s", "SD of their durations")]
    duration_cv_percent: Annotated[float, measured("percent", "SD over mean of their durations")]
    cycles_per_minute: Annotated[float, number("kept cycles a minute, from their mean duration")]
    wearable_sd: Annotated[float, data("the wearable's SD over cycles, averaged over the points")]
    reference_sd: Annotated[float, data("the reference's SD over cycles, likewise")]
    offset: Annotated[float, data("mean wearable curve's mean minus that of the reference")]
    rms_demeaned: Annotated[float, data("RMS over the cycle of the demeaned curves' difference")]


def bout_rows(trials: Iterable[TrialResult]) -> Iterator[BoutRow]:
    """Yield the bouts of every trial, in order of time."""
    for trial in trials:
        for unit in () if trial.cycles is None else bout_units(trial.cycles):
            yield row_of(
                BoutRow,
                unit.strides,
                trial,
                found=unit.strides.n_found,
                kept=unit.strides.n_kept,
                wearable_sd=unit.wearable_sd_deg,
                reference_sd=unit.reference_sd_deg,
                offset=unit.offset_deg,
                rms_demeaned=unit.rms_demeaned_deg,
            )


@dataclass(frozen=True, slots=True)
class CurvePoint(OfTrial):
    """One point of the mean curves over the kept cycles."""

    percent: Annotated[float, measured("percent", "point of the cycle")]
    wearable_mean: Annotated[float, data("mean of the wearable over the kept cycles")]
    wearable_sd: Annotated[float, data("SD of the wearable over the kept cycles")]
    reference_mean: Annotated[float, data("mean of the reference over the kept cycles")]
    reference_sd: Annotated[float, data("SD of the reference over the kept cycles")]


def mean_curve_rows(trials: Iterable[TrialResult]) -> Iterator[CurvePoint]:
    """Yield the mean curves of every trial, point by point."""
    for trial in trials:
        wearable, reference = trial.wearable_variability, trial.reference_variability
        if wearable is None:
            continue
        nothing = np.full(wearable.mean_curve.size, NAN)
        columns = (
            np.linspace(0, 100, nothing.size),
            wearable.mean_curve,
            wearable.sd_curve,
            nothing if reference is None else reference.mean_curve,
            nothing if reference is None else reference.sd_curve,
        )
        names = ("percent", "wearable_mean", "wearable_sd", "reference_mean", "reference_sd")
        for values in zip(*columns, strict=True):
            yield row_of(CurvePoint, dict(zip(names, map(float, values), strict=True)), trial)
