"""Tables of single trials: what each recording gave under each procedure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from twinangle.declare import data, measured, number
from twinangle.notices import gravity_of, kind_of
from twinangle.results.grouping import trial_groups, warnings_of
from twinangle.results.model import StudyResults
from twinangle.results.serialise import KEYS, trial_record
from twinangle.results.tables.columns import NAN, NO_INTERVAL, Interval, Table, TrialTable, row_of
from twinangle.results.tables.cycles import (
    BoutRow,
    CurvePoint,
    CycleResidual,
    CycleRow,
    bout_rows,
    cycle_place,
    cycle_rows,
    mean_curve_rows,
    residual_rows,
)
from twinangle.results.tables.identity import OfCondition, OfTrial, OfWearable
from twinangle.results.tables.magnetic_field import fields_by_time
from twinangle.results.tables.quantities import quantities_of
from twinangle.results.trial_result import TrialResult


@dataclass(frozen=True, slots=True)
class TrialRow(OfTrial):
    """One trial under one procedure: how it went, and its headline numbers."""

    status: Annotated[str, number("ok, failed or excluded")]
    reason: Annotated[str, number("why the trial failed or is excluded")]
    lag_s: Annotated[float, measured("s", "what is added to the reference's clock")]
    lag_se_s: Annotated[float, measured("s", "standard error of the lag at reference time 0")]
    drift_ppm: Annotated[float, measured("ppm", "drift of the reference's clock")]
    cycles_found: Annotated[int | None, number("cycles found")]
    cycles_kept: Annotated[int | None, number("cycles that enter the statistics")]
    offset: Annotated[float, data("mean wearable curve's mean minus that of the reference")]
    offset_ci: Interval
    rms_demeaned: Annotated[float, data("RMS over the cycle of the demeaned curves' difference")]
    rms_demeaned_ci: Interval
    range_difference: Annotated[float, data("range of motion, wearable minus reference")]
    range_difference_ci: Interval
    correlation: Annotated[float, number("correlation of the two mean curves")]
    correlation_ci: Interval
    wearable_sd: Annotated[float, data("the wearable's SD over cycles, averaged over the points")]
    wearable_sd_ci: Interval
    reference_sd: Annotated[float, data("the reference's SD over cycles, likewise")]
    sd_ratio: Annotated[float, number("the wearable's SD over the reference's")]


def _trial_rows(trials: Iterable[TrialResult]) -> Iterator[TrialRow]:
    names = ("offset", "rms_demeaned", "range_difference", "correlation")
    nothing = dict.fromkeys(names, NAN) | {f"{name}_ci": NO_INTERVAL for name in names}
    clock = dict.fromkeys(("lag_s", "lag_se_s", "drift_ppm"), NAN)
    for trial in trials:
        wearable, reference = trial.wearable_variability, trial.reference_variability
        cycles = trial.cycles
        yield row_of(
            TrialRow,
            trial,
            trial.synchronisation,
            trial.agreement,
            clock | nothing,
            cycles_found=None if cycles is None else len(cycles.reason),
            cycles_kept=None if cycles is None else int(cycles.kept.sum()),
            wearable_sd=NAN if wearable is None else wearable.sd,
            wearable_sd_ci=NO_INTERVAL if wearable is None else wearable.sd_ci,
            reference_sd=NAN if reference is None else reference.sd,
            sd_ratio=NAN if (both := trial.variability_compared) is None else both.ratio,
        )


@dataclass(frozen=True, slots=True)
class AllCyclesRow(OfTrial):
    """The SDs over all cycles of the movement, and how much what was left out changed them."""

    n_all: Annotated[int, number("cycles of the movement, kept or left out by a rule or by hand")]
    n_outliers: Annotated[int, number("of these left out as outliers of duration or course")]
    wearable_sd_all: Annotated[float, data("the wearable's SD over all cycles of the movement")]
    wearable_sd_change: Annotated[float, data("the wearable's SD over kept minus over all cycles")]
    wearable_sd_outlier_change: Annotated[
        float, data("the wearable's SD over kept minus over kept and outlying cycles")
    ]
    reference_sd_all: Annotated[float, data("the reference's SD over all cycles of the movement")]
    reference_sd_change: Annotated[
        float, data("the reference's SD over kept minus over all cycles")
    ]
    reference_sd_outlier_change: Annotated[
        float, data("the reference's SD over kept minus over kept and outlying cycles")
    ]


def _all_cycles_rows(trials: Iterable[TrialResult]) -> Iterator[AllCyclesRow]:
    names = ("sd_all", "sd_change", "sd_outlier_change")
    for trial in trials:
        if (effect := trial.exclusions) is not None:
            wearable = {f"wearable_{name}": getattr(effect, f"test_{name}") for name in names}
            yield row_of(AllCyclesRow, effect, wearable, trial)


@dataclass(frozen=True, slots=True)
class OverTimeRow(OfTrial):
    """Both instruments compared sample by sample, with or without cycles."""

    offset: Annotated[float, data("mean difference, wearable minus reference")]
    rms_demeaned: Annotated[float, data("RMS of the difference, each instrument demeaned")]
    rmse: Annotated[float, data("RMS of the difference as it is")]
    correlation: Annotated[float, number("correlation of the two over the samples")]
    n_samples: Annotated[int, number("samples that both instruments have")]
    duration_s: Annotated[float, measured("s", "time that these samples cover")]


def _over_time_rows(trials: Iterable[TrialResult]) -> Iterator[OverTimeRow]:
    for trial in trials:
        if trial.over_time is not None:
            yield row_of(OverTimeRow, trial.over_time, trial)


@dataclass(frozen=True, slots=True)
class PooledRow(OfCondition):
    """Short recordings of one person, side and condition, their cycles taken together."""

    participant: Annotated[str, number("code of the person recorded")]
    session: Annotated[str, number("session, as the trials table names it")]
    side: Annotated[str, number("side of the body, as the trials table names it")]
    trials: Annotated[str, number("the trials pooled, with commas")]
    n_cycles: Annotated[int, number("cycles kept in all of them")]
    offset: Annotated[float, data("mean wearable curve's mean minus that of the reference")]
    offset_ci: Interval
    rms_demeaned: Annotated[float, data("RMS over the cycle of the demeaned curves' difference")]
    rms_demeaned_ci: Interval
    wearable_sd: Annotated[float, data("the wearable's SD over the pooled cycles")]
    wearable_sd_ci: Interval
    reference_sd: Annotated[float, data("the reference's SD over the pooled cycles")]
    reason: Annotated[str, number("why there are none; empty where they are given")]


def _pooled_rows(results: StudyResults) -> Iterator[PooledRow]:
    nothing = {"offset": NAN, "rms_demeaned": NAN}
    none = {f"{name}_ci": NO_INTERVAL for name in nothing}
    for one in results.recordings_pooled:
        spread = one.variability
        yield row_of(
            PooledRow,
            one.agreement,
            one,
            nothing | none,
            trials=", ".join(one.trials),
            wearable_sd=NAN if spread is None else spread.wearable.sd,
            wearable_sd_ci=NO_INTERVAL if spread is None else spread.wearable.sd_ci,
            reference_sd=NAN if spread is None or spread.reference is None else spread.reference.sd,
        )


@dataclass(frozen=True, slots=True)
class TrialNumber(OfTrial):
    """One number, or word, of a trial under one procedure."""

    quantity: Annotated[
        str, number("key in the trial's part of results.json, joined by full stops")
    ]
    value: Annotated[float, number("the number, in the unit of the row")]
    ci: Interval
    unit: Annotated[str, number("unit of value, low and high; empty where there is none")]
    text: Annotated[str, number("what is said where it is no number")]


def _number_rows(trials: Iterable[TrialResult]) -> Iterator[TrialNumber]:
    for trial in trials:
        own = {
            key: part
            for key, part in trial_record(trial).items()
            if isinstance(part, dict) or key.startswith("offset_zeroed")
        }
        for found in quantities_of(own):
            yield row_of(TrialNumber, found, trial)


@dataclass(frozen=True, slots=True)
class SensorNumber(OfTrial):
    """One number, or word, of a sensor or of the magnetic field around it."""

    segment: Annotated[str, number("segment that carries the sensor: proximal or distal")]
    quantity: Annotated[str, number("key in the sensor's part of results.json")]
    value: Annotated[float, number("the number, in the unit of the row")]
    unit: Annotated[str, number("unit of value; empty where there is none")]
    text: Annotated[str, number("what is said where it is no number")]


def _sensor_rows(trials: Iterable[TrialResult]) -> Iterator[SensorNumber]:
    for trial in trials:
        for sensor in KEYS.write(trial.sensors):
            parts = {key: part for key, part in sensor.items() if isinstance(part, dict)}
            for found in quantities_of(parts):
                yield row_of(SensorNumber, found, trial, segment=sensor["segment"])


@dataclass(frozen=True, slots=True)
class PlausibilityRow(OfWearable):
    """What one physical test says of one instrument of a recording."""

    test: Annotated[str, number("name of the physical test")]
    subject: Annotated[str, number("instrument that the test is about")]
    verdict: Annotated[str, number("consistent, doubtful, contradicted or not tested")]
    value: Annotated[float, number("what the test found, in the unit of the row")]
    limit: Annotated[float, number("where the trial is refused, else warned of")]
    unit: Annotated[str, number("unit of value and limit; empty where there is none")]
    said: Annotated[str, number("cause and remedy, or why the test could not run")]


def _plausibility_rows(results: StudyResults) -> Iterator[PlausibilityRow]:
    for group in trial_groups(results):  # the tests do not depend on the procedure
        for outcome in group.main.plausibility:
            yield row_of(PlausibilityRow, outcome, group.main)


@dataclass(frozen=True, slots=True)
class FieldStep(OfWearable):
    """The magnetic field at one sensor over ten seconds."""

    segment: Annotated[str, number("segment that carries the sensor: proximal or distal")]
    start_s: Annotated[float, measured("s", "start of the ten seconds on the wearable's clock")]
    norm_deviation: Annotated[
        float, number("mean deviation of the field's norm, a share of the undisturbed norm")
    ]
    disturbed_share: Annotated[float, number("share of the samples in which it is disturbed")]


def _field_rows(results: StudyResults) -> Iterator[FieldStep]:
    for trial, step in fields_by_time(results):
        yield row_of(FieldStep, step, trial)


@dataclass(frozen=True, slots=True)
class Exclusion(OfTrial):
    """One trial or cycle that was left out."""

    what: Annotated[str, number("cycle, trial failed or trial excluded")]
    cycle: Annotated[int | None, number("number of the cycle within its trial, from 0")]
    start_s: Annotated[float, measured("s", "start of the cycle on the wearable's clock")]
    end_s: Annotated[float, measured("s", "end of the cycle on the wearable's clock")]
    reason: Annotated[str, number("why it is left out")]


def _exclusion_rows(results: StudyResults) -> Iterator[Exclusion]:
    whole: dict[str, Any] = {"cycle": None, "start_s": NAN, "end_s": NAN}
    for trial in results.trials:
        if trial.status not in ("ok", "pooled"):
            yield row_of(Exclusion, whole, trial, what=f"trial {trial.status}")
    for trial in results.trials:
        if (cycles := trial.cycles) is None:
            continue
        for k, reason in enumerate(cycles.reason):
            if reason:
                place = cycle_place(cycles, k)
                yield row_of(Exclusion, place, trial, what="cycle", reason=reason)


@dataclass(frozen=True, slots=True)
class WarningRow(OfTrial):
    """One warning of a trial."""

    kind: Annotated[str, number("what it is about, the same word for every recording")]
    gravity: Annotated[str, number("'note', 'warning' or 'grave'")]
    warning: Annotated[str, number("the warning, a sentence")]


def _warning_rows(trials: Iterable[TrialResult]) -> Iterator[WarningRow]:
    for trial in trials:
        for text in warnings_of(trial):
            yield row_of(
                WarningRow, trial, kind=kind_of(text), gravity=gravity_of(text), warning=text
            )


TRIAL_TABLES = (
    TrialTable(
        "trials", "each trial under each procedure, headline numbers", TrialRow, _trial_rows
    ),
    TrialTable(
        "all_cycles",
        "SDs over all cycles of the movement, and what exclusions changed",
        AllCyclesRow,
        _all_cycles_rows,
    ),
    TrialTable("over_time", "both instruments sample by sample", OverTimeRow, _over_time_rows),
    Table(
        "recordings_pooled",
        "short recordings of one person pooled, a person, condition and side a row",
        PooledRow,
        _pooled_rows,
    ),
    TrialTable("trial_numbers", "every number of each trial, one a row", TrialNumber, _number_rows),
    TrialTable(
        "sensor_numbers", "every number of each sensor, one a row", SensorNumber, _sensor_rows
    ),
    Table(
        "plausibility",
        "what each physical test says, one a row",
        PlausibilityRow,
        _plausibility_rows,
    ),
    Table(
        "magnetic_field_by_time", "the magnetic field, ten seconds a row", FieldStep, _field_rows
    ),
    TrialTable(
        "residual_angle", "rotation outside the hinge, a cycle a row", CycleResidual, residual_rows
    ),
    TrialTable("cycles", "every cycle found, kept or not", CycleRow, cycle_rows),
    TrialTable("bouts", "every bout, a run of cycles without a pause", BoutRow, bout_rows),
    Table("exclusions", "trials and cycles left out, with the reason", Exclusion, _exclusion_rows),
    TrialTable(
        "mean_curves", "mean curves over the cycle, a point a row", CurvePoint, mean_curve_rows
    ),
    TrialTable("warnings", "warnings of the trials", WarningRow, _warning_rows),
)
