"""`participants.tsv`: one row a participant, codes only."""

from __future__ import annotations

from pathlib import Path

from twinangle.export.labels import Name
from twinangle.export.plain_files import write_json, write_tsv
from twinangle.study import Trial


def write_participants(
    root: Path, trials: list[Trial], names: list[Name], covariates: tuple[str, ...]
) -> int:
    """Write participants with the covariates that are the same in all of their trials.

    Returns
    -------
    int
        How many there are: those with a recording in the data set.
    """
    people: dict[str, list[Trial]] = {}
    for trial, name in zip(trials, names, strict=True):
        if not trial.exclude:
            people.setdefault(f"sub-{name.subject}", []).append(trial)
    steady = [name for name in covariates if all(_same(own, name) for own in people.values())]
    rows = [
        (person, *(own[0].covariates.get(name) for name in steady))
        for person, own in people.items()
    ]
    write_tsv(root / "participants.tsv", ("participant_id", *steady), rows)
    about = {name: {"Description": f"covariate {name!r} of the trials table"} for name in steady}
    about = {"participant_id": {"Description": "code of the participant"}} | about
    write_json(root / "participants.json", about)
    return len(people)


def _same(trials: list[Trial], name: str) -> bool:
    return len({trial.covariates.get(name) for trial in trials}) == 1
