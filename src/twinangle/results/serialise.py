"""The machine-readable form of the results: plain values, stable key order, null for no number."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from twinangle.agreement.along_cycle import CurveDifference, FunctionalLimits
from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.agreement.ranking import Contest
from twinangle.cycles.units import BoutUnit, bout_units
from twinangle.results import (
    FurtherParts,
    LimitForms,
    NeutralStanding,
    PooledLimits,
    Reliability,
    StudyResults,
    TrialResult,
)
from twinangle.signals.recording import CycleSet, Synchronisation

SCHEMA = 1


def to_text(results: StudyResults) -> str:
    """Return the JSON text of `results`: UTF-8 characters kept, no NaN literal, final newline."""
    return json.dumps(study_record(results), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def study_record(results: StudyResults) -> dict[str, Any]:
    """Return the whole of a run as plain values."""
    return _plain_record(
        {
            "schema": SCHEMA,
            "study": {
                "title": results.title,
                "joint": results.joint,
                "confidence": results.options.confidence,
                "acceptable_deg": results.options.margin_deg,
                "invented": results.invented,
            },
            "trials": [trial_record(trial) for trial in results.trials],
            "limits_of_agreement": [_limits_record(item) for item in results.limits],
            "conditions": [_condition_record(*item) for item in results.conditions],
            "contests": [
                {"condition": condition} | _contest_record(contest)
                for condition, contest in results.contests
            ],
            "error_budgets_deg2": [
                {"procedure": procedure, "condition": condition} | (_numbers_of(budget) or {})
                for procedure, condition, budget in results.budgets
            ],
            "equivalence": [
                {"procedure": procedure, "condition": condition, "quantity": quantity}
                | (_numbers_of(claim) or {})
                for procedure, condition, quantity, claim in results.equivalence
            ],
            "along_cycle": [_along_cycle_record(*item) for item in results.along_cycle],
            **_further_record(results.further),
            "notes": list(results.notes),
            "provenance": {
                "version": results.version,
                "inputs": [{"path": f.path, "sha256": f.sha256} for f in results.inputs],
                "parameters": dict(results.parameters),
            },
        }
    )


def trial_record(trial: TrialResult) -> dict[str, Any]:
    """Return one trial under one procedure as plain values, with the keys of `results.json`."""
    record: dict[str, Any] = {
        "participant": trial.participant,
        "session": trial.session,
        "condition": trial.condition,
        "trial": trial.trial,
        "side": trial.side,
        "procedure": trial.procedure,
        "status": trial.status,
    }
    if trial.status != "ok":
        record["reason"] = trial.reason
    record["warnings"] = list(trial.warnings)
    record["synchronisation"] = _clock_record(trial.synchronisation)
    record["cycles"] = _cycles_record(trial.cycles)
    record["agreement"] = _agreement_record(trial)
    record["neutral_standing"] = _standing_record(trial.standing)
    record["variability"] = _variability_record(trial)
    record["timing_cost"] = _numbers_of(trial.timing_cost)
    record["error_budget_deg2"] = _numbers_of(trial.budget)
    record["strides"] = _numbers_of(trial.strides)
    record["sensors"] = [
        {"segment": sensor.segment, "device": sensor.device, "field": sensor.field}
        for sensor in trial.sensors
    ]
    record["covariates"] = dict(trial.covariates)
    return _plain_record(record | dict(trial.extras))


def _clock_record(clock: Synchronisation | None) -> dict[str, Any] | None:
    if clock is None:
        return None
    return {
        "method": clock.method,
        "lag_s": clock.lag_s,
        "lag_se_s": clock.lag_se_s,
        "lag_statistical_s": clock.lag_statistical_s,
        "lag_systematic_s": clock.lag_systematic_s,
        "centre_s": clock.centre_s,
        "centre_lag_se_s": clock.centre_lag_se_s,
        "centre_lag_df": clock.centre_lag_df,
        "drift_ppm": clock.drift_ppm,
        "drift_se_ppm": clock.drift_se_ppm,
        "drift_statistical_ppm": clock.drift_statistical_ppm,
        "drift_systematic_ppm": clock.drift_systematic_ppm,
        "drift_df": clock.drift_df,
        "peak_correlation": clock.peak_correlation,
        "runner_up_correlation": clock.runner_up_correlation,
        "evidence": clock.evidence,
    }


def _cycles_record(cycles: CycleSet | None) -> dict[str, Any] | None:
    if cycles is None:
        return None
    kept = cycles.kept
    durations = cycles.duration_s[kept]
    return {
        "method": cycles.method,
        "found": len(cycles.reason),
        "kept": int(kept.sum()),
        "excluded": [
            {
                "index": i,
                "bout": int(cycles.bout[i]),
                "start_s": cycles.start_s[i],
                "end_s": cycles.end_s[i],
                "reason": reason,
            }
            for i, reason in enumerate(cycles.reason)
            if reason
        ],
        "duration_mean_s": durations.mean() if durations.size else None,
        "duration_sd_s": durations.std(ddof=1) if durations.size > 1 else None,
        "bouts": [_bout_record(unit) for unit in bout_units(cycles)],
    }


def _bout_record(unit: BoutUnit) -> dict[str, Any]:
    """Return one walking bout as a unit: its cycles, cadence, variability and agreement."""
    strides = unit.strides
    return {
        "bout": strides.bout,
        "start_s": strides.start_s,
        "end_s": strides.end_s,
        "found": strides.n_found,
        "kept": strides.n_kept,
        "duration_mean_s": strides.duration_mean_s,
        "duration_sd_s": strides.duration_sd_s,
        "duration_cv_percent": strides.duration_cv_percent,
        "strides_per_minute": strides.strides_per_minute,
        "wearable_sd_deg": unit.wearable_sd_deg,
        "reference_sd_deg": unit.reference_sd_deg,
        "offset_deg": unit.offset_deg,
        "rms_demeaned_deg": unit.rms_demeaned_deg,
    }


def _agreement_record(trial: TrialResult) -> dict[str, Any] | None:
    curves = trial.agreement
    if curves is None:
        return None
    return {
        "offset_deg": curves.offset,
        "offset_ci_deg": list(curves.offset_ci),
        "offset_zeroed_deg": trial.offset_zeroed_deg,
        "offset_zeroed_ci_deg": list(trial.offset_zeroed_ci_deg),
        "rms_demeaned_deg": curves.rms_demeaned,
        "rms_demeaned_ci_deg": list(curves.rms_demeaned_ci),
        "rmse_deg": curves.rmse,
        "rmse_ci_deg": list(curves.rmse_ci),
        "range_difference_deg": curves.range_difference,
        "range_difference_ci_deg": list(curves.range_difference_ci),
        "correlation": curves.correlation,
        "correlation_ci": list(curves.correlation_ci),
        "slope": curves.slope,
        "slope_ci": list(curves.slope_ci),
        "intercept_deg": curves.intercept,
        "intercept_ci_deg": list(curves.intercept_ci),
        "r_squared": curves.r_squared,
        "r_squared_ci": list(curves.r_squared_ci),
        "mean_squared_difference_deg2": {
            "offset": curves.msd_offset,
            "spread": curves.msd_spread,
            "pattern": curves.msd_pattern,
        },
    }


def _standing_record(standing: NeutralStanding | None) -> dict[str, Any] | None:
    if standing is None:
        return None
    return {
        "wearable_deg": standing.wearable_deg,
        "reference_deg": standing.reference_deg,
        "difference_deg": standing.difference_deg,
        "unknown": standing.unknown,
    }


def _variability_record(trial: TrialResult) -> dict[str, Any] | None:
    wearable, reference, both = (
        trial.wearable_variability,
        trial.reference_variability,
        trial.variability,
    )
    if wearable is None:
        return None
    return {
        "wearable_sd_deg": wearable.sd,
        "wearable_sd_ci_deg": list(wearable.sd_ci),
        "reference_sd_deg": reference.sd if reference else None,
        "reference_sd_ci_deg": list(reference.sd_ci) if reference else None,
        "ratio": both.ratio if both else None,
        "ratio_ci": list(both.ratio_ci) if both else None,
        "difference_deg": both.difference if both else None,
        "difference_ci_deg": list(both.difference_ci) if both else None,
        "added_sd_deg": both.added_sd if both else None,
        "added_sd_ci_deg": list(both.added_sd_ci) if both else None,
    }


def _limits_record(pooled: PooledLimits) -> dict[str, Any]:
    record: dict[str, Any] = {
        "procedure": pooled.procedure,
        "condition": pooled.condition,
        "quantity": pooled.quantity,
        "n_participants": len(set(pooled.participant)),
        "n_observations": len(pooled.difference),
    }
    further = {
        "bias_from_zero_deg": pooled.bias_from_zero_deg,
        "participants_bias_rms_deg": pooled.bias_rms_deg[0],
        "participants_bias_rms_zeroed_deg": pooled.bias_rms_deg[1] if pooled.zeroed else None,
        "zeroed_at_standing": _limits_numbers(pooled.zeroed),
        "zeroed_note": pooled.zeroed_note,
        "without_reference_error": _numbers_of(pooled.corrected),
        "without_reference_error_note": pooled.corrected_note,
        "published_form": None if pooled.published is None else _limits_numbers(pooled.published),
    }
    return record | _limits_numbers(pooled.limits) | further | {"note": pooled.note}


def _limits_numbers(limits: LimitsOfAgreement | None) -> dict[str, Any]:
    if limits is None:
        names = ("bias", "sd_between", "sd_within", "lower", "upper")
        return {f"{name}_deg": None for name in names}
    return {
        "bias_deg": limits.bias,
        "bias_ci_deg": list(limits.bias_ci),
        "sd_between_deg": limits.sd_between,
        "sd_within_deg": limits.sd_within,
        "sd_deg": limits.sd,
        "lower_deg": limits.lower,
        "lower_ci_deg": list(limits.lower_ci),
        "upper_deg": limits.upper,
        "upper_ci_deg": list(limits.upper_ci),
        "method": limits.method,
        "why": limits.why,
        "weighting": limits.weighting,
        "interval_method": limits.interval_method,
        "confidence": limits.confidence,
        "assumptions": list(limits.assumptions),
    }


def _condition_record(procedure: str, quantity: str, item: ConditionDifference) -> dict[str, Any]:
    return {
        "procedure": procedure,
        "quantity": quantity,
        "condition": item.condition,
        "against": item.against,
        "n_participants": item.n_participants,
        "difference_deg": item.difference,
        "difference_ci_deg": list(item.difference_ci),
        "ratio": item.ratio,
        "ratio_ci": list(item.ratio_ci),
        "interval_over": item.interval_over,
        "windows": {
            "fewest_cycles": item.fewest_window,
            "most_cycles": item.most_window,
            "difference_deg": item.windows_difference,
            "difference_ci_deg": list(item.windows_difference_ci),
            "ratio": item.windows_ratio,
            "ratio_ci": list(item.windows_ratio_ci),
        },
        "serial_correlation": item.serial,
        "serial_correlation_against": item.serial_against,
        "confidence": item.confidence,
        "note": item.note,
        "assumptions": list(item.assumptions),
    }


def _numbers_of(result: Any) -> dict[str, Any] | None:
    """Return a result's numbers, names and intervals; parts of it that are results are left out."""
    if result is None:
        return None
    values = {item.name: getattr(result, item.name) for item in fields(result)}
    return {
        name: list(value) if isinstance(value, tuple) else value
        for name, value in values.items()
        if not is_dataclass(value)
        and not (isinstance(value, tuple) and value and is_dataclass(value[0]))
    }


def _further_record(further: FurtherParts) -> dict[str, Any]:
    """Return the further parts, and why others are not given."""
    return {
        "curves_over_participants": [
            {"procedure": procedure, "condition": condition} | (_numbers_of(curves) or {})
            for procedure, condition, curves in further.curves
        ],
        "variability_over_participants": [
            {"procedure": procedure, "condition": condition} | (_numbers_of(numbers) or {})
            for procedure, condition, numbers in further.variability
        ],
        "limits_in_other_forms": [_forms_record(item) for item in further.forms],
        "reliability": [_reliability_record(item) for item in further.reliability],
        "conditions_adjusted": [
            {"procedure": procedure, "quantity": quantity} | (_numbers_of(ratio) or {})
            for procedure, quantity, ratio in further.adjusted
        ],
        "not_given": [{"part": part, "reason": reason} for part, reason in further.not_given],
    }


def _forms_record(item: LimitForms) -> dict[str, Any]:
    names = {"procedure": item.procedure, "condition": item.condition, "quantity": item.quantity}
    parts = {
        name: _numbers_of(getattr(item, name))
        for name in ("checks", "regression", "ratio", "percentile", "mixed", "deming")
    }
    at_sizes = [_numbers_of(one) for one in item.at_sizes]
    return names | parts | {"at_sizes": at_sizes, "not_given": dict(item.not_given)}


def _reliability_record(item: Reliability) -> dict[str, Any]:
    return {
        "procedure": item.procedure,
        "condition": item.condition,
        "quantity": item.quantity,
        "design": item.design,
        "instrument": item.instrument,
        "columns": list(item.columns),
        "intraclass_correlations": [_numbers_of(one) for one in item.intraclass],
        "measurement_error": _numbers_of(item.error),
        "concordance": _numbers_of(item.concordance),
    }


def _along_cycle_record(
    procedure: str, condition: str, limits: FunctionalLimits, difference: CurveDifference
) -> dict[str, Any]:
    return {
        "procedure": procedure,
        "condition": condition,
        "n_participants": limits.n_participants,
        "n_cycles": limits.n_curves,
        "confidence": limits.confidence,
        "bias_deg": limits.bias,
        "bias_band_deg": [limits.bias_band.lower, limits.bias_band.upper],
        "participant_band_deg": [limits.participant_band.lower, limits.participant_band.upper],
        "lower_deg": limits.lower,
        "upper_deg": limits.upper,
        "p_adjusted": difference.p_adjusted,
    }


def _contest_record(contest: Contest) -> dict[str, Any]:
    record = _numbers_of(contest) or {}
    record["standings"] = [_numbers_of(place) for place in contest.standings]
    record["differences"] = [
        (_numbers_of(pair) or {}) | {"tied": pair.tied} for pair in contest.differences
    ]
    return record


def _plain_record(record: dict[str, Any]) -> dict[str, Any]:
    return {key: plain(value) for key, value in record.items()}


def plain(value: Any) -> Any:
    """Return `value` built of dict, list, str, int, float, bool and None only; NaN becomes None."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    return str(value)
