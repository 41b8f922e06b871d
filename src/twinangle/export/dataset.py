"""The whole data set: recordings, angles on one clock, cycles, participants, and a study file."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import twinangle
from twinangle.analysis import analyse_trial, load_ahead
from twinangle.errors import StudyError
from twinangle.export.decisions import write_decisions
from twinangle.export.derived import write_derived
from twinangle.export.instrument_names import refuse_alike
from twinangle.export.labels import Name, names_of
from twinangle.export.participants_tsv import write_participants
from twinangle.export.plain_files import write_json, write_text
from twinangle.export.privacy import code_names, personal_covariates, refuse_names, said_of_dates
from twinangle.export.raw import RawWriter
from twinangle.export.sessions import write_scans
from twinangle.export.study_files import write_study_files
from twinangle.output_folder.places import holds_files, staged_items
from twinangle.parallel import in_order
from twinangle.results import TrialResult
from twinangle.study import Study, Trial
from twinangle.under_test import reference_of, wearable_of

BIDS_VERSION = "1.9.0"
PIPELINE = "twinangle"
README = """\
# {title}

A study of {joint} flexion from a wearable against a reference instrument, written by twinangle
{version} as a Motion-BIDS data set ({participants} participants, {recordings} recordings).

- `sub-*/ses-*/motion/`: what was recorded, as it was: nothing resampled, gaps left as they are.
  Task is the condition, run the trial, acquisition the side. Tracking system `wearable` (or
  `proximal` and `distal`, one file a sensor) and `reference`{named}.
- `sub-*/ses-*/*_scans.tsv`: when each recording began, on invented days.
- `derivatives/{pipeline}/`: both instruments' angles on the wearable's clock, and the cycles found,
  kept or excluded with the reason.
- `study.toml`, `trials.csv`, `sourcedata/`: the study file for this data set.
  `twinangle run study.toml --out results` gives the results again.

Participants stand under codes. For research only: not for diagnosis or treatment decisions.
"""


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written, and what its author should know."""

    folder: Path
    n_recordings: int
    notes: tuple[str, ...]
    codes: dict[str, str]  # old identifier to new one; empty where none was changed


def export_study(
    study: Study,
    folder: str | Path,
    *,
    recode: bool = False,
    jobs: int = 1,
    on_trial: Callable[[str], None] | None = None,
) -> Exported:
    """Write a study as a Motion-BIDS data set.

    Parameters
    ----------
    study : Study
        As :func:`twinangle.read_study` returns it.
    folder : path
        A new or an empty folder.
    recode : bool
        Give participants new codes, P01, P02 … in the order of the trials table.
    jobs : int
        Trials analysed at the same time.
    on_trial : callable, optional
        Called with a trial's name when it is done.

    Returns
    -------
    Exported
        The same study gives the same bytes.

    Raises
    ------
    StudyError
        If the folder is not empty or cannot be written, a participant's identifier looks like a
        name or a date and `recode` is False, or identifiers cannot be told apart in file names.
    RecordingError
        If a recording that is to be analysed cannot be read. Nothing is written then.
    """
    if study.in_memory:
        raise StudyError("a study in memory has no files to export; write them first.")
    target = Path(folder)
    _refuse_taken(target)
    refuse_alike(study)
    if not recode:
        refuse_names(study)
    codes = code_names(study) if recode else {}
    trials = [_coded(trial, codes) for trial in study.trials]
    names = names_of(trials)
    try:
        with staged_items(target, last=("dataset_description.json", "study.toml")) as staging:
            done = _write(study, trials, names, staging, codes, jobs, on_trial)
    except OSError as error:
        raise StudyError(f"--to {target}: cannot be written ({error.strerror}).") from error
    return replace(done, folder=target)


def _refuse_taken(target: Path) -> None:
    try:
        taken = target.exists() and (not target.is_dir() or holds_files(target))
    except OSError as error:
        raise StudyError(f"--to {target}: cannot be written ({error.strerror}).") from error
    if taken:
        raise StudyError(f"--to {target}: exists and is not empty; name a new folder.")


def _coded(trial: Trial, codes: dict[str, str]) -> Trial:
    return replace(trial, participant=codes.get(trial.participant, trial.participant))


def _write(
    study: Study,
    trials: list[Trial],
    names: list[Name],
    root: Path,
    codes: dict[str, str],
    jobs: int,
    on_trial: Callable[[str], None] | None,
) -> Exported:
    """Write everything under `root`."""
    hidden = personal_covariates(study)
    raw = RawWriter(study, root)
    notes = [
        *said_of_dates(study),
        *(f"covariate {name!r} left out: {why}" for name, why in hidden),
    ]
    load_ahead()
    analysed = in_order(partial(analyse_trial, study), study.trials, jobs=jobs)
    for trial, name, results in zip(trials, names, analysed, strict=True):
        if not trial.exclude:
            notes += _write_recording(raw, trial, name, results)
        if on_trial is not None and not trial.exclude:
            on_trial(" ".join(trial.identity))
    write_scans(root, raw.starts)
    kept = tuple(name for name in _covariates(trials) if name not in dict(hidden))
    write_study_files(study, trials, names, raw, root, kept, codes)
    write_decisions(study, root)
    people = write_participants(root, trials, names, kept)
    _describe(study, root, people, raw.n_recordings)
    return Exported(root, raw.n_recordings, (*notes, *raw.notes), codes)


def _write_recording(
    raw: RawWriter, trial: Trial, name: Name, results: Sequence[TrialResult]
) -> list[str]:
    """Write what was recorded and what was made of it; return what is to be told."""
    study, root = raw.study, raw.root
    pairs = study.rows_of(trial)
    of = {
        (part.wearable, part.reference): [
            one
            for one in results
            if (wearable_of(one.procedure), reference_of(one.procedure))
            == (part.wearable, part.reference)
        ]
        for part, _ in pairs
    }
    good = {
        names: [one for one in several if one.status in ("ok", "pooled")]
        for names, several in of.items()
    }
    clocks = {
        names: clock
        for names, several in good.items()
        if several and (clock := several[0].synchronisation) is not None
    }
    raw.add(pairs, name, clocks)
    told = []
    for part, row in pairs:
        names = (part.wearable, part.reference)
        if good[names]:
            derived = root / "derivatives" / PIPELINE
            own = part if row.reference is not None else replace(part, reference="")
            write_derived(derived, name, own, trial, good[names])
        elif not row.exclude or row.by_hand is not None:
            who = " against ".join(filter(None, names))
            said = f"{' '.join(trial.identity)}{f', {who}' if who else ''}: no angles"
            told.append(below_folder(f"{said}: {of[names][0].reason}", study.folder.as_posix()))
    return told


def below_folder(text: str, folder: str) -> str:
    """Return a text whose paths below a folder begin there, in `.`.

    Parameters
    ----------
    text : str
        With or without such paths.
    folder : str
        With slashes. Whole parts of a path alone are replaced: neither within a longer name, nor
        where a relative folder's name stands as a word.

    Returns
    -------
    str
    """
    ends = "(?=/)" if "/" not in folder else r"(?![\w-])(?!\.\w)"
    return re.sub(rf"(?<![\w./~-]){re.escape(folder)}{ends}", ".", text)


def _covariates(trials: list[Trial]) -> list[str]:
    return list(dict.fromkeys(key for trial in trials for key in trial.covariates))


def _describe(study: Study, root: Path, people: int, recordings: int) -> None:
    """Write the two `dataset_description.json`, the README and what validators pass over."""
    made_by = {"Name": PIPELINE, "Version": twinangle.__version__}
    common = {"Name": study.title, "BIDSVersion": BIDS_VERSION}
    write_json(
        root / "dataset_description.json", common | {"DatasetType": "raw", "GeneratedBy": [made_by]}
    )
    derived = root / "derivatives" / PIPELINE
    if derived.is_dir():
        title = f"{study.title}: angles on one clock, and cycles"
        content = {"Name": title, "BIDSVersion": BIDS_VERSION, "DatasetType": "derivative"}
        write_json(derived / "dataset_description.json", content | {"GeneratedBy": [made_by]})
    write_text(
        root / "README.md",
        README.format(
            title=study.title,
            joint=study.joint,
            version=twinangle.__version__,
            participants=people,
            recordings=recordings,
            pipeline=PIPELINE,
            named=", each with its name behind it" if study.parts else "",
        ),
    )
    write_text(root / ".bidsignore", "study.toml\ntrials.csv\ndecisions.jsonl\n")
