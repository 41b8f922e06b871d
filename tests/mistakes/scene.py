"""A small correct study on disk, copied for each mistake, and what is told of it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle import read_study
from twinangle.analysis import analyse_trial, check_study
from twinangle.errors import TwinangleError
from twinangle.notices import gravity_of
from twinangle.results import TrialResult
from twinangle.simulate import write_demo_study

WALK_S = 30.0
STANDING_S, FUNCTIONAL_S, WALKING_S = (1.0, 7.0), (9.5, 20.5), 26.0  # of the study written
Frame = pd.DataFrame


def write_honest(folder: Path, walk_s: float = WALK_S) -> Path:
    """Write the correct study: two invented people, indoors with a goniometer and outdoors."""
    write_demo_study(folder, participants=2, walk_s=walk_s, hatch_deg=0.0)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace(
        'procedures = ["kalman-two-sensors", "kalman-forward"]', 'procedures = ["kalman"]'
    )
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


class Scene:
    """One copy of the correct study, to be spoilt: P01's recording indoors, unless `everyone`."""

    def __init__(self, honest: Path, folder: Path, *, everyone: bool = False) -> None:
        shutil.copytree(honest, folder)
        self.folder = folder
        self.wearable = folder / "wearable" / "P01_indoor.csv"
        self.reference = folder / "reference" / "P01_indoor.csv"
        if not everyone:
            self.table(lambda table: table.iloc[:1])

    def toml(self, old: str, new: str) -> None:
        """Replace a piece of the study file, which must hold it."""
        path = self.folder / "study.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text, old
        path.write_text(text.replace(old, new), encoding="utf-8")

    def table(self, change: Callable[[Frame], Frame | None]) -> None:
        """Change the trials table."""
        path = self.folder / "trials.csv"
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
        changed = change(table)
        (table if changed is None else changed).to_csv(path, index=False)

    def cell(self, column: str, value: str, row: int = 0) -> None:
        """Set one cell of the trials table, in a new column where there is none."""

        def change(table: Frame) -> None:
            if column not in table:
                table[column] = ""
            table.loc[row, column] = value

        self.table(change)

    def signals(self, path: Path, change: Callable[[Frame], Frame | None]) -> None:
        """Change the numbers of a recording."""
        frame = pd.read_csv(path)
        changed = change(frame)
        (frame if changed is None else changed).to_csv(path, index=False)

    def text(self, path: Path, change: Callable[[str], str]) -> None:
        """Change a file as text."""
        path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")


@dataclass(frozen=True)
class Told:
    """What the tool said, and the numbers it gave."""

    faults: tuple[str, ...]  # of reading, of `check` and of failed recordings
    warnings: tuple[str, ...]  # without notes
    results: tuple[TrialResult, ...]

    @property
    def text(self) -> str:
        """Everything that was said, in one line a sentence."""
        return "\n".join((*self.faults, *self.warnings))

    def says(self, words: tuple[str, ...]) -> bool:
        """Return whether one message holds all of some words."""
        return any(
            all(word.lower() in message.lower() for word in words)
            for message in (*self.faults, *self.warnings)
        )

    def numbers(self) -> tuple[float, float]:
        """Return offset and RMS of the first recording with a reference; NaN where it failed."""
        found = next((one.agreement for one in self.results if one.agreement is not None), None)
        return (np.nan, np.nan) if found is None else (found.offset, found.rms_demeaned)


def tell(folder: Path, *, analyse: bool = True) -> Told:
    """Read, check and, unless something was found by then, analyse a study."""
    try:
        study = read_study(folder / "study.toml")
    except TwinangleError as error:
        return Told(tuple(str(error).split("\n")), (), ())
    found = check_study(study)
    warnings = [
        *study.warnings,
        *found.warnings,
        *(text for one in found.trials for text in one.warnings),
    ]
    results: list[TrialResult] = []
    faults = list(found.faults)
    if analyse and not faults:
        study = replace(study, report=study.report)
        for trial in study.trials:
            results += analyse_trial(study, trial)
        faults += [one.reason for one in results if one.status == "failed"]
        warnings += [text for one in results for text in one.warnings]
    heard = tuple(dict.fromkeys(text for text in warnings if gravity_of(text) != "note"))
    return Told(tuple(faults), heard, tuple(results))
