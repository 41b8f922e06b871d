"""The main job: every trial, then what they say together."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import twinangle
from twinangle.agreement._result import counted
from twinangle.analysis.between import pool_between, pool_errors
from twinangle.analysis.decision_records import decision_records
from twinangle.analysis.exchanged_sides import refuse_exchanged_sides
from twinangle.analysis.people_and_files import Lasting, refuse_same_recordings, unlike_partners
from twinangle.analysis.remounts import compare_mountings
from twinangle.analysis.same_walk import with_walks_told
from twinangle.analysis.short_recordings import pool_short
from twinangle.analysis.topics import pool_topics
from twinangle.analysis.without_decisions import without_decisions
from twinangle.formats import companion_files
from twinangle.kept import Steps, hash_of_file
from twinangle.parallel import in_order
from twinangle.results import InputFile, StudyResults, TrialResult
from twinangle.results.instruments import PairOfInstruments
from twinangle.results.tables.cycle_points import is_long
from twinangle.signals.recording import Recording
from twinangle.study import AngleWearable, SensorFiles, Study, Trial, own_settings_note
from twinangle.study.decisions import DECISIONS, decisions_file
from twinangle.study.instruments import SEVERAL
from twinangle.under_test import reference_of
from twinangle.wearable.procedures import PROCEDURES


def run_study(
    study: Study, *, jobs: int = 1, on_trial: Callable[[str], None] | None = None
) -> StudyResults:
    """Analyse every trial of a study and pool them.

    Parameters
    ----------
    study : Study
        As returned by :func:`twinangle.read_study`.
    jobs : int
        Trials analysed at the same time, each in a process of its own. The results are the same
        to the last bit whatever it is.
    on_trial : callable, optional
        Called with a trial's name when it is done (for a progress bar).

    Returns
    -------
    StudyResults
        One entry a trial and procedure, in the order of the trials table; a trial that fails has
        the status "failed" and its reason, and does not stop the others.

    Raises
    ------
    ValueError
        If `jobs` is below 1.
    """
    from twinangle.analysis.compiling import load_ahead
    from twinangle.analysis.trial import analyse_trial

    load_ahead()
    done = in_order(partial(analyse_trial, study), study.trials, jobs=jobs)
    results: list[TrialResult] = []
    for trial, several in zip(study.trials, done, strict=True):
        results.extend(several)
        if on_trial is not None and not trial.exclude:
            on_trial(" ".join(trial.identity))
    return pool_study(study, tuple(results))


def pool_study(
    study: Study, trials: tuple[TrialResult, ...], steps: Steps | None = None
) -> StudyResults:
    """Return what the trials of a study say together.

    Parameters
    ----------
    study : Study
        The settings.
    trials : tuple of TrialResult
        What :func:`twinangle.analysis.analyse_trial` found, in the order of the trials table; the
        traces are not needed.
    steps : Steps, optional
        What of earlier runs is kept.
    """
    options = study.options
    trials = refuse_exchanged_sides(compare_mountings(study, trials))
    trials = refuse_same_recordings(study, with_walks_told(study, trials))
    bare = without_decisions(trials, options)
    pairs = tuple(pair for trial in trials for pair in trial.pairs)
    triples = tuple(triple for trial in trials for triple in trial.triples)
    trials = tuple(replace(trial, undecided=None, pairs=(), triples=()) for trial in trials)
    trials, together, standing_in = pool_short(trials, options)
    return StudyResults(
        title=study.title,
        joint=study.joint,
        options=options,
        trials=trials,
        version=twinangle.__version__,
        inputs=(
            *(_fingerprint(study, path) for path in input_files(study)),
            *_in_memory(study),
        ),
        parameters=study_parameters(study),
        notes=(*_notes(study, trials), *_never_compared(pairs), *_of_files(study, trials)),
        invented=study.invented,
        recordings_pooled=together,
        pairs=tuple(_without_curves(pair) for pair in pairs),
        between=pool_between(pairs, options),
        errors_of_three=pool_errors(triples, options),
        decisions=decision_records(study, trials),
        without_decisions=bare,
        **pool_topics(standing_in, options, steps),
    )


def _never_compared(pairs: Sequence[PairOfInstruments]) -> Iterator[str]:
    """Yield for each two wearables that are compared in no recording that they are not, and why."""
    wearables = [pair for pair in pairs if pair.kind == "wearables"]
    for first, second in dict.fromkeys((pair.first, pair.second) for pair in wearables):
        own = [pair for pair in wearables if (pair.first, pair.second) == (first, second)]
        if all(pair.reason for pair in own):
            yield f"{first} and {second} are compared in no recording. {own[0].label}: " + (
                own[0].reason
            )


def _without_curves(pair: PairOfInstruments) -> PairOfInstruments:
    nothing = np.zeros((0, 0))
    return replace(pair, first_curves=nothing, second_curves=nothing)


def input_files(study: Study) -> tuple[Path, ...]:
    """Return every file the results rest on, each once: study file, tables, recordings.

    Those of a recording that a decision takes out are among them: the result without it is given.
    """
    if study.parts:
        several = [path for part in study.parts for path in input_files(part.study)]
        return tuple(dict.fromkeys(several))
    calibration = getattr(study.reference, "calibration", None)
    decisions = DECISIONS if decisions_file(study.folder) is not None else None
    named = (calibration, study.cycles.overrides, decisions)
    own = [] if study.in_memory else [study.path, study.table]
    files = [*own, *(study.folder / name for name in named if name)]
    for trial in study.trials:
        if not trial.exclude or trial.by_hand is not None:
            files += trial_files(trial)
    return _with_companions(study, files)


def own_procedures(study: Study) -> tuple[str, ...]:
    """Return the names of the procedures of a study that are the researcher's own."""
    if study.parts:
        several = [name for part in study.parts for name in own_procedures(part.study)]
        return tuple(dict.fromkeys(several))
    if isinstance(study.wearable, AngleWearable):
        return ()  # there the names are the researcher's, one a column
    return tuple(name for name in study.wearable.procedures if name not in PROCEDURES)


def files_for(study: Study, trial: Trial) -> tuple[Path, ...]:
    """Return every file that the analysis of one recording reads, each once.

    Of one that is excluded, unless by hand, or was not made with one of several instruments, none.
    """
    if trial.exclude and trial.by_hand is None:
        return ()
    if study.parts:
        parts = study.rows_of(trial)
        return tuple(
            dict.fromkeys(path for part, own in parts for path in files_for(part.study, own))
        )
    calibration = getattr(study.reference, "calibration", None)
    named = (calibration, study.cycles.overrides)
    of_study = [study.folder / name for name in named if name]
    return _with_companions(study, [*of_study, *trial_files(trial)])


def _with_companions(study: Study, files: list[Path]) -> tuple[Path, ...]:
    """Return files and those that are read with them, each once."""
    home = study.folder.resolve()
    beside = [
        study.folder / other.relative_to(home)
        for path in files
        for other in companion_files(path)
        if other.is_relative_to(home)
    ]
    return tuple(dict.fromkeys([*files, *beside]))


def trial_files(trial: Trial) -> list[Path]:
    """Return the files of one trial."""
    named = (trial.wearable, trial.reference, trial.static, trial.functional, trial.events)
    several = (each.both if isinstance(each, SensorFiles) else (each,) for each in named)
    return [path for paths in several for path in paths if isinstance(path, Path)]


def _fingerprint(study: Study, path: Path) -> InputFile:
    return InputFile(path=path.relative_to(study.folder).as_posix(), sha256=hash_of_file(path))


def _in_memory(study: Study) -> Iterator[InputFile]:
    """Yield the recordings that are no files, each with the digest of its numbers."""
    for trial in study.trials:
        for one in (trial.wearable, trial.reference):
            if isinstance(one, Recording) and not trial.exclude:
                digest = hashlib.sha256(np.ascontiguousarray(one.time_s).tobytes())
                digest.update(np.ascontiguousarray(one.values).tobytes())
                if one is trial.wearable and isinstance(trial.events, tuple):
                    digest.update(np.asarray(trial.events, dtype=np.float64).tobytes())
                yield InputFile(path=one.source, sha256=digest.hexdigest())


def study_parameters(study: Study) -> dict[str, Any]:
    """Return the study's settings, defaults filled in, as plain values."""
    if study.parts:
        return _parameters_of_several(study)
    sections = {
        "wearable": study.wearable,
        "reference": study.reference,
        "synchronisation": study.synchronisation,
        "cycles": study.cycles,
        "agreement": study.agreement,
        "conditions": study.conditions,
        "report": study.report,
        "daily_life": study.daily_life if study.daily_life.stretch_min is not None else None,
    }
    found = {
        name: section.model_dump(mode="json")
        for name, section in sections.items()
        if section is not None
    }
    if study.cycles.wearable is None:  # a study of one wearable has none to choose
        found["cycles"].pop("wearable")
    return found


def _parameters_of_several(study: Study) -> dict[str, Any]:
    """Return the settings of several wearables or references: each with its clock and cycles."""
    shared: dict[str, Any] = study_parameters(replace(study, parts=()))
    for kind, several in SEVERAL.items():
        named = {getattr(part, kind): study_parameters(part.study) for part in study.parts}
        if any(named):
            shared.pop(kind, None)
            own = (kind, "synchronisation", *(["cycles"] if kind == "wearable" else []))
            shared[several] = {
                name: parameters[kind] | {key: parameters[key] for key in own[1:]}
                for name, parameters in reversed(named.items())
            }
    return shared


def _of_files(study: Study, trials: Sequence[TrialResult]) -> tuple[str, ...]:
    """Return what the files and their rows say against each other, and own settings of rows."""
    own = own_settings_note(study)
    found = unlike_partners(*_lengths(trials))
    return (*found, own) if own else found


def _lengths(trials: Sequence[TrialResult]) -> list[list[Lasting]]:
    """Return how long wearable and reference of each recording last, pair by pair, each once."""
    found: dict[tuple[str, str], dict[str, Lasting]] = {}
    for trial in trials:
        long = trial.daily is not None  # its reference is there for a part of it alone
        if {"wearable", "reference"} <= trial.timing.keys() and not long:
            clocks = (trial.timing[name] for name in ("wearable", "reference"))
            wearable, reference = (clock.n_samples / clock.rate_hz for clock in clocks)
            pair = (trial.wearable, reference_of(trial.procedure))
            one = Lasting(trial.label, wearable, reference, *pair)
            found.setdefault(pair, {})[trial.label] = one
    return [list(several.values()) for several in found.values()]


def _notes(study: Study, trials: Sequence[TrialResult]) -> tuple[str, ...]:
    """Return what a reader must know about what the whole rests on."""
    good = [trial for trial in trials if trial.status in ("ok", "pooled")]
    people = {trial.participant for trial in good}
    notes = list(study.warnings)
    if study.calibration is not None:
        notes.append(f"The reference's calibration: {study.calibration.summary()}.")
    if len(people) == 1:
        notes.append(
            f"One participant ({next(iter(people))}): every interval here is over cycles of one "
            "person, none is over people."
        )
    given = any(trial.reference and not trial.exclude for trial in study.trials)
    if good and not given and all(trial.synchronisation is None for trial in trials):
        told = "No trial has a reference: variability is given, agreement is not."
        if len({trial.wearable for trial in trials}) > 1:
            told = (
                "No trial has a reference: variability and the agreement between the wearables are "
                "given, the agreement of neither with a reference is."
            )
        notes.append(told)
    long = {trial.label for trial in trials if trial.status == "ok" and is_long(trial)}
    if long and study.report.traces is None:
        notes.append(
            f"Traces of {counted(len(long), 'recording')} of more than two hours are not in "
            "tables/traces.parquet; `traces = true` under [report] writes them."
        )
    return tuple(notes)
