"""The magnetic field at the sensors, gathered by condition and by time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from twinangle.results.grouping import trial_groups
from twinangle.results.model import StudyResults
from twinangle.results.sensors_found import SensorRecord
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import Array

BIN_S = 10.0  # of the table by time
SEGMENTS = ("proximal", "distal")


def fields_by_condition(results: StudyResults) -> list[dict[str, Any]]:
    """Return one row a condition, wearable and sensor, over the recordings that tell of the field.

    Shares are means over recordings with the smallest and largest beside them, deviations root
    mean squares over recordings, and `error_correlation` the mean, over the `n_with_reference`
    recordings that have one, of the rank correlation between the field's deviation and the error.
    """
    return [
        {"condition": condition, "wearable": wearable, "segment": segment} | _summary(records)
        for condition in _conditions(results)
        for wearable in dict.fromkeys(trial.wearable for trial in results.trials)
        for segment in SEGMENTS
        if (
            records := [
                one
                for trial, one in _records(results, condition, segment)
                if trial.wearable == wearable
            ]
        )
    ]


def fields_by_time(results: StudyResults) -> Iterator[tuple[TrialResult, dict[str, Any]]]:
    """Yield each recording with its sensors' field in steps of 10 s of the wearable's clock."""
    for condition in _conditions(results):
        for segment in SEGMENTS:
            for trial, record in _records(results, condition, segment):
                step = np.floor((record.time_s - record.time_s[0]) / BIN_S)
                for index in np.unique(step):
                    inside = step == index
                    yield (
                        trial,
                        {
                            "segment": segment,
                            "start_s": float(record.time_s[0] + index * BIN_S),
                            "norm_deviation": float(np.mean(record.norm_deviation[inside])),
                            "disturbed_share": float(np.mean(record.disturbed_share[inside])),
                        },
                    )


def _conditions(results: StudyResults) -> tuple[str, ...]:
    return tuple(dict.fromkeys(trial.condition for trial in results.trials))


def _records(
    results: StudyResults, condition: str, segment: str
) -> Iterator[tuple[TrialResult, SensorRecord]]:
    """Yield one sensor's record of every recording of a condition, with the recording."""
    for trial in _main_results(results):
        if trial.condition != condition:
            continue
        for record in trial.sensors:
            if record.segment == segment and record.field is not None and record.time_s.size:
                yield trial, record


def _main_results(results: StudyResults) -> Iterator[TrialResult]:
    """Yield one result a recording, for sensors do not depend on the procedure: the first good."""
    for group in trial_groups(results):
        yield group.main


def _summary(records: list[SensorRecord]) -> dict[str, Any]:
    def values(key: str) -> Array:
        found = [getattr(record.field, key) for record in records if record.field is not None]
        known = np.array(found, dtype=np.float64)
        return np.asarray(known[np.isfinite(known)])

    def root_mean_square(key: str) -> float | None:
        known = values(key)
        return float(np.sqrt(np.mean(known**2))) if known.size else None

    share, correlation = values("disturbed_share"), values("error_correlation")
    return {
        "n_recordings": len(records),
        "disturbed_share": float(share.mean()),
        "disturbed_share_min": float(share.min()),
        "disturbed_share_max": float(share.max()),
        "norm_deviation_rms": root_mean_square("norm_deviation_rms"),
        "dip_deviation_rms_deg": root_mean_square("dip_deviation_rms_deg"),
        "n_with_reference": int(correlation.size),
        "error_correlation": float(correlation.mean()) if correlation.size else None,
    }
