"""What the analysis made of a trial: angles on one clock, and the cycles with their fate."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from twinangle.export.channel_rows import Channel
from twinangle.export.instrument_names import system_of_angles
from twinangle.export.labels import Name
from twinangle.export.plain_files import write_json, write_tsv
from twinangle.export.recordings import Samples, write_recording
from twinangle.results import TrialResult
from twinangle.signals.recording import Array, CycleSet, PairedAngles
from twinangle.study import Trial
from twinangle.study.instruments import Part
from twinangle.under_test import procedure_of

EVENT_COLUMNS = {
    "onset": "seconds from the first sample of the recording of angles",
    "duration": "seconds",
    "trial_type": "cycle: from one event of its kind to the next",
    "kept": "yes where the cycle enters the statistics",
    "reason": "why it does not",
    "start_s": "seconds on the wearable's clock",
}


def write_derived(
    root: Path, name: Name, part: Part, trial: Trial, results: Sequence[TrialResult]
) -> None:
    """Write one trial's angles and cycles under the derived data set's root.

    Of several instruments each pair has files of its own, with their names in the tracking system
    and in the columns.

    Parameters
    ----------
    root : Path
        Folder of the derived data set.
    name : Name
        The trial's names.
    part : Part
        The wearable and the reference, empty names for one of each, with their study.
    trial : Trial
        The row of the trials table.
    results : sequence of TrialResult
        The trial under each procedure that yielded an angle, at least one.
    """
    for number, group in enumerate(_by_clock(results), start=1):
        kind = f"desc-oneclock{number if number > 1 else ''}_"
        write_recording(
            root,
            name,
            system_of_angles(part),
            _angles(group, part),
            task=trial.condition,
            description=kind,
        )
    cycles, paired = results[0].cycles, results[0].paired
    if cycles is not None and paired is not None:
        place = root / name.folder / name.file(system_of_angles(part), "desc-cycles_events.tsv")
        _write_cycles(place, cycles, paired)


def _by_clock(results: Sequence[TrialResult]) -> list[list[TrialResult]]:
    """Group procedures whose angles have the same samples; most often there is one group."""
    groups: dict[tuple[float, float, int], list[TrialResult]] = {}
    for result in results:
        paired = result.paired
        if paired is not None:
            key = (paired.start_s, paired.rate_hz, paired.wearable_deg.size)
            groups.setdefault(key, []).append(result)
    return list(groups.values())


def _angles(results: Sequence[TrialResult], part: Part) -> Samples:
    """Return each procedure's angle and, where there is one, the reference's, sample by sample."""
    joint = part.study.joint
    wearable = "_".join(filter(None, ("wearable", part.wearable)))
    columns: list[Array] = []
    channels = []
    time_s: Array = np.zeros(0)
    reference: Array | None = None
    for result in results:
        if result.paired is not None:
            time_s = result.paired.time_s
            columns.append(result.paired.wearable_deg)
            channels.append(_channel(f"{wearable}_{procedure_of(result.procedure)}", joint))
            reference = result.paired.reference_deg
    if reference is not None:
        columns.append(reference)
        channels.append(_channel("_".join(filter(None, ("reference", part.reference))), joint))
    return Samples(time_s=time_s, values=np.column_stack(columns), channels=channels)


def _channel(name: str, joint: str) -> Channel:
    return Channel(name, None, "JNTANG", joint, "deg")


def _write_cycles(place: Path, cycles: CycleSet, paired: PairedAngles) -> None:
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
    write_tsv(place, tuple(EVENT_COLUMNS), rows)
    about = {key: {"Description": text} for key, text in EVENT_COLUMNS.items()}
    write_json(place.with_suffix(".json"), about)
