"""What the page is sent of a recording, as plain values; a number that is not known is null."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from twinangle.agreement.curves import compare_curves
from twinangle.cycles.enough import reason_kind
from twinangle.results.sensors_found import FieldFound
from twinangle.review.listing import HIDDEN, flags_of, tells_the_difference, urgency
from twinangle.review.look import Look
from twinangle.review.looked_at import Unit
from twinangle.review.placed import peaks_of, thinned
from twinangle.signals.recording import Array, CycleSet, Interval
from twinangle.study import Trial
from twinangle.study.instruments import Part
from twinangle.wearable.quality.device import DeviceQuality

BLOCK = 300  # cycles drawn at a time
SENSOR_POINTS = 600
LEVEL = 0.95  # of intervals, which the page does not show


def plain(value: Any) -> Any:
    """Return a value that JSON can say: arrays as lists, what is not finite as None."""
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return [plain(one) for one in value.tolist()]
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return str(value) if isinstance(value, str) else value


def row_of(
    unit: Unit, part: Part, trial: Trial, look: Look | None, *, blind: bool
) -> dict[str, Any]:
    """Return a recording's row of the list, under one pair of instruments."""
    row: dict[str, Any] = {
        "label": trial.label,
        "wearable": unit.wearable,
        "reference": unit.reference,
        "instruments": unit.instruments,
        "participant": trial.participant,
        "session": trial.session,
        "condition": trial.condition,
        "trial": trial.trial,
        "side": trial.side,
        "has_reference": trial.reference is not None,
        "state": "waiting",
        "urgency": 4,
        "flags": [],
    }
    if look is None:
        return row
    first = look.first
    hidden = blind and tells_the_difference(first)
    flags = [replace(flag, text=part.worded(flag.text)) for flag in flags_of(look, blind=blind)]
    row |= {
        "state": first.status,
        "reason": HIDDEN if hidden else part.worded(str(first.reason)),
        "urgency": 5 if first.status == "excluded" else urgency(look, tuple(flags)),
        "flags": [asdict(flag) for flag in flags],
        "seconds": look.seconds,
        "clock": look.clock_state,
        "curve": mean_curves(look.cycles, blind=blind),
    }
    if look.cycles is not None:
        row |= {"kept": int(look.cycles.kept.sum()), "found": len(look.cycles.reason)}
    return row


def mean_curves(cycles: CycleSet | None, *, blind: bool) -> dict[str, Any] | None:
    """Return mean and SD of the kept cycles, of both instruments' the same.

    Deciding blind, the wearable's alone. Those without a reference, which daily life keeps, are
    left out where others have one.
    """
    if cycles is None or not cycles.kept.any():
        return None
    kept, reference = cycles.kept, cycles.reference_deg
    seen = kept if reference is None else kept & np.isfinite(reference).all(axis=1)
    kept = seen if seen.any() else kept
    wearable = cycles.wearable_deg[kept]
    found = {"wearable": _mean(wearable), "wearable_sd": _sd(wearable)}
    if reference is not None and seen.any() and not blind:
        found |= {"reference": _mean(reference[seen]), "reference_sd": _sd(reference[seen])}
    return found


def compared(cycles: CycleSet | None) -> dict[str, Any]:
    """Return how the mean curves of the kept cycles differ; empty where they cannot be compared."""
    if cycles is None or cycles.reference_deg is None:
        return {}
    kept = cycles.kept & np.isfinite(cycles.reference_deg).all(axis=1)
    kept &= np.isfinite(cycles.wearable_deg).all(axis=1)
    if kept.sum() < 2:
        return {}
    try:
        found = compare_curves(
            cycles.wearable_deg[kept], cycles.reference_deg[kept], confidence=LEVEL
        )
    except ValueError:
        return {}
    return {
        "offset_deg": found.offset,
        "rms_deg": found.rms_demeaned,
        "correlation": found.correlation,
        "n_cycles": int(kept.sum()),
    }


def _mean(curves: Array) -> list[float]:
    return [round(float(v), 3) for v in curves.mean(axis=0)]


def _sd(curves: Array) -> list[float]:
    if len(curves) < 2:
        return [0.0] * curves.shape[1]
    return [round(float(v), 3) for v in curves.std(axis=0, ddof=1)]


def clock_of(look: Look, part: Part) -> dict[str, Any]:
    """Return how the reference is placed, and the correlation behind it."""
    placed = look.placed
    lags, values = thinned(look)
    return {
        "state": look.clock_state,
        "refused": part.worded(look.clock_refused),
        "method": "" if look.clock is None else look.clock.method,
        "lag_s": placed.lag_s,
        "drift_ppm": placed.drift_ppm,
        "lag_se_s": None if look.clock is None else look.clock.lag_se_s,
        "drift_se_ppm": None if look.clock is None else look.clock.drift_se_ppm,
        "evidence": None if look.clock is None else look.clock.evidence,
        "lags_s": np.round(lags, 4),
        "correlation": np.round(values, 4),
        "peaks": [{"lag_s": lag, "correlation": height} for lag, height in peaks_of(look)],
        "window_time_s": [] if look.clock is None else look.clock.window_time_s,
        "window_lag_s": [] if look.clock is None else look.clock.window_lag_s,
    }


def cycles_of(look: Look) -> dict[str, Any] | None:
    """Return every cycle's place and reason; its curves are asked for in blocks."""
    cycles = look.cycles
    if cycles is None:
        return None
    return {
        "start_s": cycles.start_s,
        "end_s": cycles.end_s,
        "reason": list(cycles.reason),
        "kind": [reason_kind(text) for text in cycles.reason],
        "method": cycles.method,
        "points": cycles.wearable_deg.shape[1],
        "block": BLOCK,
    }


def block_of(cycles: CycleSet, block: int, *, blind: bool) -> bytes | None:
    """Return the curves of a block of cycles as float32: the wearable's, then the reference's.

    Deciding blind the reference's are left out. None where there is no such block.
    """
    part = slice(block * BLOCK, (block + 1) * BLOCK)
    if block < 0 or not cycles.wearable_deg[part].size:
        return None
    runs = [cycles.wearable_deg[part]]
    if cycles.reference_deg is not None and not blind:
        runs.append(cycles.reference_deg[part])
    return b"".join(np.ascontiguousarray(run, dtype="<f4").tobytes() for run in runs)


def intervals_of(trial: Trial) -> list[dict[str, Any]]:
    """Return the stretches of a recording that decisions can move."""
    found = []
    for which, stretch in (("standing", trial.static), ("functional", trial.functional)):
        here = isinstance(stretch, Interval)
        found.append(
            {
                "which": which,
                "start_s": stretch.start_s if isinstance(stretch, Interval) else None,
                "end_s": stretch.end_s if isinstance(stretch, Interval) else None,
                "own_file": stretch is not None and not here,
            }
        )
    found.append(
        {
            "which": "analysed",
            "start_s": trial.start_s,
            "end_s": trial.end_s,
            "own_file": False,
        }
    )
    return found


def _without_source(found: DeviceQuality | FieldFound) -> dict[str, Any]:
    """Return what was found of a sensor, by its names; of which file the page says elsewhere."""
    return {name: value for name, value in asdict(found).items() if name != "source"}


def sensors_of(look: Look) -> list[dict[str, Any]]:
    """Return what each sensor's own signals tell, and the field over time."""
    found = []
    for sensor in look.sensors:
        step = max(sensor.time_s.size // SENSOR_POINTS, 1)
        found.append(
            {
                "segment": sensor.segment,
                "device": _without_source(sensor.device),
                "field": None if sensor.field is None else _without_source(sensor.field),
                "time_s": sensor.time_s[::step],
                "norm_deviation": np.round(sensor.norm_deviation[::step], 4),
                "disturbed_share": np.round(sensor.disturbed_share[::step], 3),
            }
        )
    return found
