"""Read everything and find each clock, compute no number: every fault that is to be known."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from twinangle.analysis.analysed_part import as_cut
from twinangle.analysis.clock import place_reference
from twinangle.analysis.compiling import load_ahead
from twinangle.analysis.cutting import override_fault
from twinangle.analysis.daily_life import first_stretch
from twinangle.analysis.file_facts import FileFacts
from twinangle.analysis.people_and_files import Lasting, same_recordings, unlike_partners
from twinangle.analysis.plausibility import examine_sensors
from twinangle.analysis.reading import TrialSignals, read_trial, reference_fault
from twinangle.analysis.requirements import (
    overlap_line,
    settings_faults,
    trial_faults,
)
from twinangle.analysis.same_walk import Marked, shared_samples
from twinangle.errors import TwinangleError
from twinangle.notices import gravity_of
from twinangle.parallel import Workers, in_order
from twinangle.study import Study, Trial, settings_of
from twinangle.study.instruments import Part
from twinangle.study.wearable_settings import AngleWearable
from twinangle.wearable.procedures import require_procedure


@dataclass(frozen=True, slots=True)
class TrialCheck:
    """One recording: what its files hold, and what is at fault or worth knowing."""

    label: str
    row: int  # of the trials table
    files: tuple[FileFacts, ...]  # empty where one could not be read
    overlap: str  # how long the two instruments record together, in words
    faults: tuple[str, ...]
    warnings: tuple[str, ...]
    marked: Marked | None = None  # by what its samples are known again; None where not read

    @property
    def lengths(self) -> tuple[Lasting, ...]:
        """How long wearable and reference last; empty without a pair."""
        files = {file.role: file for file in self.files}
        if not {"wearable", "reference"} <= set(files):
            return ()
        worn, against = files["wearable"], files["reference"]
        lasting = (worn.duration_s, against.duration_s)
        return (Lasting(self.label, *lasting, worn.source, against.source),)


@dataclass(frozen=True, slots=True)
class StudyCheck:
    """A study as `check` and a run find it before anything is computed."""

    settings: tuple[str, ...]  # faults of the study file, whatever the recordings
    trials: tuple[TrialCheck, ...]
    table: str  # name of the trials table
    n_excluded: int
    warnings: tuple[str, ...] = ()  # of recordings held against one another

    @property
    def faults(self) -> tuple[str, ...]:
        """Every fault, those of a recording with the table's row."""
        of_trials = (
            f"{self.table}, row {trial.row}: {fault}"
            for trial in self.trials
            for fault in trial.faults
        )
        return (*self.settings, *of_trials)


def check_study(
    study: Study,
    *,
    jobs: int = 1,
    sensors: bool = False,
    on_trial: Callable[[TrialCheck], None] | None = None,
    workers: Workers | None = None,
    beside: Container[tuple[str, ...]] = (),
    meanwhile: Callable[[], None] = lambda: None,
) -> StudyCheck:
    """Read every file of a study that is to be analysed and find what is at fault.

    A run begins with it, so that hours are not lost on what could be known at once.

    Parameters
    ----------
    study : Study
        A study whose file and trials table were already found valid.
    jobs : int
        Recordings read at the same time.
    sensors : bool
        Hold the raw sensors against each other as well and find the clock of the two instruments
        (together about half a second a recording of one or two minutes, two seconds where the lag
        steps); a run leaves that to the analysis of each recording.
    on_trial : callable, optional
        Called with each recording's check when it is done, in the order of the trials table.
    workers : Workers, optional
        Processes that are there already, to be used in place of `jobs` new ones.
    beside : container of tuple
        Identities of recordings that are passed over: they were analysed before.
    meanwhile : callable, optional
        Called when other processes have begun to read.

    Returns
    -------
    StudyCheck
    """
    if study.parts:
        return _check_parts(study, jobs, on_trial, workers, sensors=sensors)
    analysed = [t for t in study.trials if not t.exclude and t.identity not in beside]
    same = (clash.text for clash in same_recordings(study))
    settings = (*declared_faults(study), *same)
    trials = []
    if sensors:
        load_ahead()
    work = partial(check_trial, study, sensors=sensors)
    checked = (
        in_order(work, analysed, jobs=jobs) if workers is None else workers.in_order(work, analysed)
    )
    meanwhile()
    for found in checked:
        trials.append(found)
        if on_trial is not None:
            on_trial(found)
    marked = [one.marked for one in trials if one.marked is not None]
    return StudyCheck(
        (*settings, *shared_samples(study.table.name, marked)),
        tuple(trials),
        study.table.name,
        sum(bool(trial.exclude) for trial in study.trials),
        unlike_partners([lengths for one in trials for lengths in one.lengths]),
    )


def _check_parts(
    study: Study,
    jobs: int,
    on_trial: Callable[[TrialCheck], None] | None,
    workers: Workers | None,
    *,
    sensors: bool,
) -> StudyCheck:
    """Check each of several wearables against each reference, every fault once, with its name."""
    found, lengths = [], []
    for part in study.parts:

        def tell(check: TrialCheck, part: Part = part) -> None:
            if on_trial is not None:
                on_trial(_named(check, part))

        checked = check_study(
            part.study, jobs=jobs, sensors=sensors, on_trial=tell, workers=workers
        )
        lengths.append([each for one in checked.trials for each in one.lengths])
        found.append(
            replace(
                checked,
                settings=tuple(part.worded(text) for text in checked.settings),
                trials=tuple(_named(c, part) for c in checked.trials),
            )
        )

    def each(several: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(several))

    return StudyCheck(
        each(text for one in found for text in one.settings),
        tuple(check for one in found for check in one.trials),
        study.table.name,
        sum(bool(trial.exclude) for trial in study.trials),
        unlike_partners(*lengths),
    )


def _named(check: TrialCheck, part: Part) -> TrialCheck:
    """Return a check that names its instruments."""
    name = ", ".join(filter(None, (part.wearable, part.reference)))
    return replace(
        check,
        label=f"{check.label}, {name}",
        faults=tuple(f"{name}: {part.worded(fault)}" for fault in check.faults),
        warnings=tuple(part.worded(text) for text in check.warnings),
    )


def check_trial(study: Study, trial: Trial, *, sensors: bool = False) -> TrialCheck:
    """Read one trial's files and ask what a run asks of it before it computes.

    `sensors` adds the physical tests of the raw sensors and the clock of the two instruments, which
    a run comes to as it analyses.
    """
    label = trial.label
    study = settings_of(study, trial)
    try:
        if study.daily_life.stretch_min is not None:  # the rest is read as the run comes to it
            study, trial, _ = first_stretch(study, trial)
        signals = read_trial(study, trial)
    except TwinangleError as error:
        found = dict.fromkeys((str(error), reference_fault(study, trial)))
        return TrialCheck(label, trial.row, (), "", tuple(filter(None, found)), ())
    faults = trial_faults(study, trial, signals)
    grave: tuple[str, ...] = ()
    if sensors and not faults:
        faults = tuple(filter(None, (_sensors_fault(study, trial, signals),)))
    if sensors and not faults:
        faults, grave = _clock_told(study, trial, signals)
    if not faults:
        faults = tuple(filter(None, (override_fault(study, trial, signals),)))
    told = () if trial.by_hand is None else trial.by_hand.told
    overlap = overlap_line(study, signals)
    file = trial.wearable if isinstance(trial.wearable, Path) else None
    source = signals.files[0].source
    marked = Marked(trial.participant, trial.row, source, file, signals.marks)
    warnings = (*told, *signals.warnings, *grave)
    return TrialCheck(label, trial.row, signals.files, overlap, faults, warnings, marked)


def _sensors_fault(study: Study, trial: Trial, signals: TrialSignals) -> str:
    """Return what the physical tests of the raw sensors contradict; empty where nothing is."""
    try:
        examine_sensors(study, trial, signals)
    except TwinangleError as error:
        return str(error)
    return ""


def _clock_told(
    study: Study, trial: Trial, signals: TrialSignals
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return why no clock relates the two instruments, and what is grave about one that does.

    The clock is found as in a run, by the first procedure that yields an angle, so that a step of
    the lag, a wrong lag or a wrong rate is told in the words of the run.
    """
    if signals.reference is None:
        return (), ()
    for procedure in study.wearable.procedures:
        try:
            motion = signals.motion(procedure)
        except TwinangleError:
            continue  # why, the run says; another one may do better
        try:
            clock, _ = place_reference(study, as_cut(study, trial), signals, motion)
        except TwinangleError as error:
            return (str(error),), ()
        told = () if clock is None else clock.warnings
        return (), tuple(text for text in told if gravity_of(text) == "grave")
    return (), ()


def declared_faults(study: Study, *, run_functions: bool = True) -> tuple[str, ...]:
    """Return every fault of the settings that needs no file to be found.

    With `run_functions` false, functions that the study file names are taken as they stand, for
    to look for one is to run its module.
    """
    return (*_unknown_procedures(study, run_functions), *settings_faults(study))


def _unknown_procedures(study: Study, run_functions: bool) -> Iterator[str]:
    """Yield a fault for every procedure that has no name here, or cannot be imported."""
    if isinstance(study.wearable, AngleWearable):
        return  # there the names are the researcher's, one a column
    for name in study.wearable.procedures:
        if ":" in name and not run_functions:
            continue
        try:
            require_procedure(name)
        except TwinangleError as error:
            yield f"{study.path.name}: [wearable] `procedures`: {error}"
