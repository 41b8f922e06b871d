"""What the analysis made of a trial: angles on one clock, and the cycles with their fate."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from twinangle.export.channel_rows import Channel
from twinangle.export.labels import Name
from twinangle.export.plain_files import write_json, write_tsv
from twinangle.export.recordings import Samples, write_recording
from twinangle.results import TrialResult
from twinangle.signals.recording import Array, CycleSet, PairedAngles
from twinangle.study import Trial

SYSTEM = "angles"
EVENT_COLUMNS = {
    "onset": "seconds from the first sample of the recording of angles",
    "duration": "seconds",
    "trial_type": "cycle: from one event of its kind to the next",
    "kept": "yes where the cycle enters the statistics",
    "reason": "why it does not",
    "start_s": "seconds on the wearable's clock",
}


def write_derived(
    root: Path, name: Name, joint: str, trial: Trial, results: Sequence[TrialResult]
) -> None:
    """Write one trial's angles and cycles under the derived data set's root.

    Parameters
    ----------
    root : Path
        Folder of the derived data set.
    name : Name
        The trial's names.
    joint : str
        "knee" or "elbow".
    trial : Trial
        The row of the trials table.
    results : sequence of TrialResult
        The trial under each procedure that yielded an angle, at least one.
    """
    for number, group in enumerate(_by_clock(results), start=1):
        kind = f"desc-oneclock{number if number > 1 else ''}_"
        write_recording(
            root, name, SYSTEM, _angles(group, joint), task=trial.condition, description=kind
        )
    cycles, paired = results[0].cycles, results[0].paired
    if cycles is not None and paired is not None:
        _write_cycles(root / name.folder, name, cycles, paired)


def _by_clock(results: Sequence[TrialResult]) -> list[list[TrialResult]]:
    """Group procedures whose angles have the same samples; most often there is one group."""
    groups: dict[tuple[float, float, int], list[TrialResult]] = {}
    for result in results:
        paired = result.paired
        if paired is not None:
            key = (paired.start_s, paired.rate_hz, paired.wearable_deg.size)
            groups.setdefault(key, []).append(result)
    return list(groups.values())


def _angles(results: Sequence[TrialResult], joint: str) -> Samples:
    """Return each procedure's angle and, where there is one, the reference's, sample by sample."""
    columns: list[Array] = []
    channels = []
    time_s: Array = np.zeros(0)
    reference: Array | None = None
    for result in results:
        if result.paired is not None:
            time_s = result.paired.time_s
            columns.append(result.paired.wearable_deg)
            channels.append(_channel(f"wearable_{result.procedure}", joint))
            reference = result.paired.reference_deg
    if reference is not None:
        columns.append(reference)
        channels.append(_channel("reference", joint))
    return Samples(time_s=time_s, values=np.column_stack(columns), channels=channels)


def _channel(name: str, joint: str) -> Channel:
    return Channel(name, None, "JNTANG", joint, "deg")


def _write_cycles(folder: Path, name: Name, cycles: CycleSet, paired: PairedAngles) -> None:
    rows = [
        (
            float(start_s - paired.start_s),
            float(end_s - start_s),
            "cycle",
            "no" if reason else "yes",
            reason or None,
            float(start_s),
        )
        for start_s, end_s, reason in zip(cycles.start_s, cycles.end_s, cycles.reason, strict=True)
    ]
    place = folder / name.file(SYSTEM, "desc-cycles_events.tsv")
    write_tsv(place, tuple(EVENT_COLUMNS), rows)
    about = {key: {"Description": text} for key, text in EVENT_COLUMNS.items()}
    write_json(place.with_suffix(".json"), about)
