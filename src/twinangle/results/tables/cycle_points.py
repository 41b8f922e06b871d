"""Cycles and synchronised traces: one row a cycle and point, one row a sample."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from twinangle.declare import data, measured, number
from twinangle.results.tables.columns import Column, columns_of, further_columns
from twinangle.results.tables.identity import OfTrial
from twinangle.results.tables.parquet import GROUP_ROWS, arrow_table, write_parquet
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import CycleSet, PairedAngles

if TYPE_CHECKING:
    import pyarrow as pa

CYCLES, TRACES = "cycles.parquet", "traces.parquet"
LONGEST_S = 2 * 3600.0  # recordings up to here have their traces written unless the study file says
IDENTITY = tuple(item.name for item in fields(OfTrial))


@dataclass(frozen=True, slots=True)
class CyclePoint(OfTrial):
    """One point of one cycle, as found."""

    cycle: Annotated[
        int | None,
        number("number of the cycle within its trial, from 0; empty where none was found"),
    ]
    bout: Annotated[int | None, number("walking bout of the cycle, from 1; 0 for none")]
    start_s: Annotated[float | None, measured("s", "start of the cycle on the wearable's clock")]
    end_s: Annotated[float | None, measured("s", "end of the cycle on the wearable's clock")]
    kept: Annotated[bool | None, number("whether the cycle enters the statistics")]
    reason: Annotated[str | None, number("why the cycle is left out; empty where it is kept")]
    percent: Annotated[float | None, measured("percent", "point of the cycle")]
    wearable: Annotated[float | None, data("the wearable's angle; NaN in a gap")]
    reference: Annotated[
        float | None, data("the reference's angle; NaN in a gap, empty without a reference")
    ]
    method: Annotated[str, number("how the cycles were found")]
    warnings: Annotated[str, number("warnings of the trial's cycles, a JSON list of texts")]


@dataclass(frozen=True, slots=True)
class TraceSample(OfTrial):
    """One sample of both instruments on the wearable's clock."""

    time_s: Annotated[float, measured("s", "time on the wearable's clock")]
    wearable: Annotated[float, data("the wearable's angle; NaN in a gap")]
    reference: Annotated[
        float | None,
        data(
            "the reference's angle at the same time; NaN in a gap and outside its recording, "
            "empty without a reference"
        ),
    ]
    rate_hz: Annotated[float, measured("hz", "sampling rate of the trial's trace, in hertz")]


def cycle_tables(trials: Iterable[TrialResult]) -> Iterator[pa.Table]:
    """Yield the rows of each trial that has cycles."""
    held = list(trials)
    columns = columns_of(CyclePoint, further_columns(held))
    for trial in held:
        if trial.cycles is not None:
            yield _cycle_table(columns, _identity(trial, columns), trial.cycles)


def _cycle_table(
    columns: tuple[Column, ...], identity: dict[str, Any], cycles: CycleSet
) -> pa.Table:
    n, points = cycles.wearable_deg.shape
    whole = identity | {
        "method": cycles.method,
        "warnings": json.dumps(cycles.warnings, ensure_ascii=False),
    }
    if not n:  # a row for what is said of the trial's cycles, though there are none
        empty: dict[str, Any] = dict.fromkeys(column.name for column in columns)
        if cycles.reference_deg is not None:  # there is a reference, it has no value
            empty["reference_deg"] = float("nan")
        return arrow_table(columns, empty | whole, 1)
    values = {
        "cycle": np.repeat(np.arange(n), points),
        "bout": np.repeat(cycles.bout, points) if cycles.bout.size else None,
        "start_s": np.repeat(cycles.start_s, points),
        "end_s": np.repeat(cycles.end_s, points),
        "kept": np.repeat(cycles.kept, points),
        "reason": np.repeat(np.array(cycles.reason, dtype=object), points),
        "percent": np.tile(np.linspace(0.0, 100.0, points), n),
        "wearable_deg": cycles.wearable_deg.ravel(),
        "reference_deg": None if cycles.reference_deg is None else cycles.reference_deg.ravel(),
    }
    return arrow_table(columns, whole | values, n * points)


def trace_tables(trials: Iterable[TrialResult], wanted: bool | None) -> Iterator[pa.Table]:
    """Yield the samples of each trial whose traces are held and wanted.

    Parameters
    ----------
    trials : iterable of TrialResult
        Those without `paired` are passed over.
    wanted : bool or None
        `traces` of the study file; None takes recordings up to `LONGEST_S`.
    """
    held = list(trials)
    columns = columns_of(TraceSample, further_columns(held))
    for trial, paired in _with_traces(held, wanted):
        yield from _trace_groups(columns, _identity(trial, columns), paired)


def _with_traces(
    trials: Iterable[TrialResult], wanted: bool | None
) -> Iterator[tuple[TrialResult, PairedAngles]]:
    for trial in trials:
        paired = trial.paired
        if paired is None or not paired.wearable_deg.size:
            continue
        if not is_long(trial) if wanted is None else wanted:
            yield trial, paired


def _trace_groups(
    columns: tuple[Column, ...], identity: dict[str, Any], paired: PairedAngles
) -> Iterator[pa.Table]:
    """Yield the rows of one trace, as many at a time as one row group holds."""
    time_s, n = paired.time_s, paired.wearable_deg.size
    for first in range(0, n, GROUP_ROWS):
        rows = slice(first, first + GROUP_ROWS)
        values = {
            "time_s": time_s[rows],
            "wearable_deg": paired.wearable_deg[rows],
            "reference_deg": None if paired.reference_deg is None else paired.reference_deg[rows],
            "rate_hz": float(paired.rate_hz),
        }
        yield arrow_table(columns, identity | values, min(GROUP_ROWS, n - first))


def is_long(trial: TrialResult) -> bool:
    """Whether the wearable's recording is longer than `LONGEST_S`, as far as it is known."""
    timing = trial.timing.get("wearable")
    return timing is not None and timing.n_samples / timing.rate_hz > LONGEST_S


def write_trace_part(trials: Sequence[TrialResult], path: Path, wanted: bool | None) -> None:
    """Write the traces of one recording into a file of their own, for :func:`merge_trace_parts`.

    It holds the arrays as they are: they are packed and encoded once, where all come together.
    """
    held: dict[str, Any] = {}
    for k, (trial, paired) in enumerate(_with_traces(trials, wanted)):
        held[f"{k} names"] = [getattr(trial, name) for name in IDENTITY]
        held[f"{k} clock"] = [paired.start_s, paired.rate_hz]
        held[f"{k} wearable"] = paired.wearable_deg
        if paired.reference_deg is not None:
            held[f"{k} reference"] = paired.reference_deg
    if held:
        with path.open("wb") as file:
            np.savez(file, **held)


def merge_trace_parts(parts: Iterable[Path], path: Path, columns: tuple[Column, ...]) -> bool:
    """Put the parts that exist into one file, in the order given, each removed when it is in.

    Returns
    -------
    bool
        Whether there was any; the bytes are those of one process that writes all.
    """
    return write_parquet(path, columns, _groups_of(parts, columns))


def _groups_of(parts: Iterable[Path], columns: tuple[Column, ...]) -> Iterator[pa.Table]:
    for part in parts:
        if part.exists():
            for names, paired in _traces_in(part):
                yield from _trace_groups(columns, _identity(names, columns), paired)
            part.unlink()


def _traces_in(part: Path) -> Iterator[tuple[OfTrial, PairedAngles]]:
    with np.load(part, allow_pickle=False) as held:
        k = 0
        while f"{k} names" in held:
            names = OfTrial(*held[f"{k} names"].tolist())
            reference = held.get(f"{k} reference")
            yield (
                names,
                PairedAngles(held[f"{k} wearable"], reference, *held[f"{k} clock"].tolist()),
            )
            k += 1


def _identity(trial: TrialResult | OfTrial, columns: tuple[Column, ...]) -> dict[str, Any]:
    return {one.name: one.of(trial) for one in columns if one.field in IDENTITY}
