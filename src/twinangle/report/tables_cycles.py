"""Tables of single cycles and of walking bouts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from twinangle.results import StudyResults
from twinangle.signals.recording import Array

_CURVES = ("wearable", "reference")


def bout_rows(record: dict[str, Any], identifiers: tuple[str, ...]) -> Iterable[dict[str, Any]]:
    """Return one row a walking bout of every trial and procedure, from `results.json`."""
    for trial in record["trials"]:
        for bout in (trial["cycles"] or {}).get("bouts", []):
            yield {name: trial[name] for name in identifiers} | bout


def cycle_rows(results: StudyResults, identifiers: tuple[str, ...]) -> Iterable[dict[str, Any]]:
    """Return one row a cycle found, kept or not, with its bout and the size of its curves."""
    for trial in results.trials:
        cycles = trial.cycles
        if cycles is None:
            continue
        where = {name: getattr(trial, name) for name in identifiers}
        curves = dict(zip(_CURVES, (cycles.wearable_deg, cycles.reference_deg), strict=True))
        for k, reason in enumerate(cycles.reason):
            yield (
                where
                | {
                    "cycle": k,
                    "bout": int(cycles.bout[k]),
                    "start_s": float(cycles.start_s[k]),
                    "end_s": float(cycles.end_s[k]),
                    "duration_s": float(cycles.duration_s[k]),
                    "kept": int(not reason),
                    "reason": reason,
                }
                | {
                    key: value
                    for name, of in curves.items()
                    if of is not None
                    for key, value in _sizes(of[k], name).items()
                }
            )


def _sizes(curve: Array, name: str) -> dict[str, float]:
    """Return mean, peak and range of one curve; NaN where it has a gap."""
    return {
        f"{name}_mean_deg": float(np.mean(curve)),
        f"{name}_peak_deg": float(np.max(curve)),
        f"{name}_range_deg": float(np.ptp(curve)),
    }
