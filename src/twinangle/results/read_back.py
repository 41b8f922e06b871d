"""Results back from the files of a run, so that a report can be made without analysing again."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from twinangle.errors import StudyError
from twinangle.notices import Notice
from twinangle.options import Options
from twinangle.results.decided import DecisionRecord, WithoutDecisions
from twinangle.results.instruments import ErrorsOfThree, LimitsBetween, PairOfInstruments
from twinangle.results.model import InputFile, PooledRecording, StudyResults
from twinangle.results.plain import Keys
from twinangle.results.schema1 import upgraded
from twinangle.results.serialise import OF_SEVERAL, SCHEMA, topic_fields
from twinangle.results.tables.cycle_points import CYCLES, IDENTITY
from twinangle.results.tables.cycle_points_back import read_cycles, read_traces
from twinangle.results.trial_result import TrialResult, WarningKind
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.visible import make_visible

RESULTS = "results.json"
_KNOWN = (
    "schema", "study", "options", "trials", "recordings_pooled", "decisions", "without_decisions",
    "notes", "provenance",
)  # fmt: skip
_DERIVED = ("answer",)  # follows from the rest, and is not read
PLAIN = ("other", "warning")  # what a warning without a kind is written as
Identity = tuple[str, ...]  # participant, session, condition, trial, side, procedure


def read_results(folder: str | Path) -> StudyResults:
    """Return the results that a run wrote into `folder`.

    Parameters
    ----------
    folder : str or pathlib.Path
        The output folder of a run, which holds `results.json`.

    Returns
    -------
    StudyResults
        Equal to the one written (see `twinangle.results.equality.same_results`); curves of
        single cycles and traces are there where the run kept them. A file of schema 1 says less:
        what it lacks is NaN, empty or None, and a note names what has no place any more.

    Raises
    ------
    StudyError
        If there is no such file, or it cannot be read as results, with the place in it.
    """
    path = Path(folder) / RESULTS
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise StudyError(
            f"{path}: cannot be read ({error.strerror}). Name the output folder of a run."
        ) from error
    except ValueError as error:
        raise StudyError(f"{path}: is not JSON ({error}).") from error
    try:
        return _with_cycles(results_of(record), Path(folder))
    except ValueError as error:
        raise StudyError(f"{path}: {error}") from error


def results_of(record: Mapping[str, Any]) -> StudyResults:
    """Return the results that are written as `record`.

    Raises
    ------
    ValueError
        If it is of no known schema, lacks a key, has an unknown one or a value of another kind.
    """
    schema = record.get("schema") if isinstance(record, Mapping) else None
    if schema == SCHEMA:
        return _results(record, Keys("deg"))
    if schema != 1:
        raise ValueError(f"schema: expected 1 or {SCHEMA}, got {schema!r}.")
    unread: list[str] = []
    found = _results(upgraded(record), Keys("deg", unread))
    said = (
        "Read from a file of schema 1, which says less: what it lacks is left open.",
        *(f"Not read from it: {key}." for key in _summed(unread)),
    )
    return replace(found, notes=(*found.notes, *said))


def _results(record: Mapping[str, Any], keys: Keys) -> StudyResults:
    topics = {keys.key(item): item for item in topic_fields(StudyResults)}
    for key in record:
        if key not in topics and key not in (*_KNOWN, *_DERIVED, *OF_SEVERAL):
            raise ValueError(f"has an unknown key {key!r}.")
    for key in (*_KNOWN, *topics):
        if key not in record:
            raise ValueError(f"{key}: is missing.")
    study, rests_on = record["study"], record["provenance"]
    return StudyResults(
        title=keys.read(study.get("title"), str, "study.title"),
        joint=keys.read(study.get("joint"), str, "study.joint"),
        options=keys.read(record["options"], Options, "options"),
        trials=_trials(record["trials"], keys),
        version=keys.read(rests_on.get("version"), str, "provenance.version"),
        inputs=keys.read(rests_on.get("inputs"), tuple[InputFile, ...], "provenance.inputs"),
        parameters=keys.read(
            rests_on.get("parameters"), Mapping[str, object], "provenance.parameters"
        ),
        recordings_pooled=keys.read(
            record["recordings_pooled"], tuple[PooledRecording, ...], "recordings_pooled"
        ),
        pairs=keys.read(
            record.get("pairs_of_instruments", []),
            tuple[PairOfInstruments, ...],
            "pairs_of_instruments",
        ),
        between=keys.read(
            record.get("agreement_between_instruments", []),
            tuple[LimitsBetween, ...],
            "agreement_between_instruments",
        ),
        errors_of_three=keys.read(
            record.get("errors_of_three_instruments", []),
            tuple[ErrorsOfThree, ...],
            "errors_of_three_instruments",
        ),
        decisions=keys.read(record["decisions"], tuple[DecisionRecord, ...], "decisions"),
        without_decisions=keys.read(
            record["without_decisions"], tuple[WithoutDecisions, ...], "without_decisions"
        ),
        notes=keys.read(record["notes"], tuple[str, ...], "notes"),
        invented=keys.read(study.get("invented"), bool, "study.invented"),
        **{item.name: keys.read(record[key], item.hint, key) for key, item in topics.items()},
    )


def _trials(records: Any, keys: Keys) -> tuple[TrialResult, ...]:
    """Return the trials, their warnings with kind and gravity where the file says them."""
    trials: tuple[TrialResult, ...] = keys.read(records, tuple[TrialResult, ...], "trials")
    return tuple(
        _told(trial, keys, record.get("warning_kinds", []), f"trials[{k}].warning_kinds")
        for k, (trial, record) in enumerate(zip(trials, records, strict=True))
    )


def _told(trial: TrialResult, keys: Keys, plain: Any, where: str) -> TrialResult:
    kinds: tuple[WarningKind, ...] = keys.read(plain, tuple[WarningKind, ...], where)
    if not kinds:
        return trial
    if len(kinds) != len(trial.warnings):
        raise ValueError(f"{where}: expected {len(trial.warnings)} values, got {len(kinds)}.")
    try:
        warnings = tuple(
            each
            if (said.kind, said.gravity) == PLAIN
            else Notice(each, said.kind, said.gravity, said.size)
            for each, said in zip(trial.warnings, kinds, strict=True)
        )
    except ValueError as error:
        raise ValueError(f"{where}: {error}") from error
    clock = trial.synchronisation
    if clock is not None:
        clock = replace(clock, warnings=_known(clock.warnings, warnings))
    return replace(trial, warnings=warnings, synchronisation=clock)


def _known(texts: tuple[str, ...], told: tuple[str, ...]) -> tuple[str, ...]:
    """Return texts with the kind and gravity that the same texts have among `told`."""
    known: dict[str, str] = {str(each): each for each in told}
    return tuple(known.get(each, each) for each in texts)


def read_curves(folder: Path) -> Mapping[Identity, tuple[CycleSet | None, PairedAngles | None]]:
    """Return the cycles and traces of each trial and procedure that a run kept as tables."""
    tables = folder / "tables"
    cycles = read_cycles(tables) if (tables / CYCLES).exists() else {}
    traces = read_traces(tables)
    return {key: (cycles.get(key), traces.get(key)) for key in {**cycles, **traces}}


def _with_cycles(results: StudyResults, folder: Path) -> StudyResults:
    """Put the cycles and traces in their places, where they were kept."""
    found = read_curves(folder)
    return replace(results, trials=tuple(_filled(trial, found) for trial in results.trials))


def _filled(
    trial: TrialResult, found: Mapping[Identity, tuple[CycleSet | None, PairedAngles | None]]
) -> TrialResult:
    # tables show odd characters as their codes
    names = tuple(make_visible(getattr(trial, name)) for name in IDENTITY)
    cycles, paired = found.get(names, (None, None))
    if cycles is None:
        return replace(trial, paired=paired)
    cycles = replace(cycles, warnings=_known(cycles.warnings, trial.warnings))
    variability = trial.variability
    if variability is not None:
        kept, seen = cycles.kept, cycles.reference_deg
        reference = variability.reference
        if reference is not None and seen is not None:
            reference = replace(reference, curves=seen[kept])
        wearable = replace(variability.wearable, curves=cycles.wearable_deg[kept])
        variability = replace(variability, wearable=wearable, reference=reference)
    return replace(trial, paired=paired, cycles=cycles, variability=variability)


def _summed(places: list[str]) -> list[str]:
    """Return places with their numbers left out, each once."""
    return list(dict.fromkeys(re.sub(r"\[\d+\]", "", place) for place in places))
