"""Two studies whose first run is kept, and what of another run is taken from there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from twinangle import read_study
from twinangle.kept import Steps, Store
from twinangle.parallel import Workers
from twinangle.recordings_of_run import RecordingDone, Recordings
from twinangle.run import run_into
from twinangle.simulate import write_demo_study
from twinangle.study import Study

Known = Callable[[Study, Store], list[bool]]


@dataclass(frozen=True)
class First:
    """A study, the store that its first run filled, and what that wrote."""

    folder: Path
    store: Store
    out: Path

    @property
    def study(self) -> Study:
        return read_study(self.folder)


def quick_study(folder: Path, participants: int) -> Path:
    """Write a study of the quickest procedure, each person indoors and outdoors."""
    path = write_demo_study(folder, participants=participants, walk_s=14.0)
    text = path.read_text(encoding="utf-8")
    found = 'procedures = ["kalman-two-sensors", "kalman-forward"]'
    assert found in text
    path.write_text(text.replace(found, 'procedures = ["vqf"]'), encoding="utf-8")
    return path.parent


def run(study: Study, out: Path, kept: Store | None, *, jobs: int = 1) -> list[RecordingDone]:
    done: list[RecordingDone] = []
    run_into(study, out, jobs=jobs, kept=kept, on_record=done.append, tell=lambda _: None)
    return done


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> First:
    """Two people; what the tests change, they change in copies."""
    place = tmp_path_factory.mktemp("first")
    found = First(quick_study(place / "study", 2), Store(place / "kept"), place / "out")
    run(found.study, found.out, found.store)
    return found


@pytest.fixture(scope="module")
def single(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a study of one recording."""
    folder = quick_study(tmp_path_factory.mktemp("single"), 1)
    table = folder / "trials.csv"
    table.write_text("".join(table.read_text().splitlines(keepends=True)[:2]))
    return folder


@pytest.fixture
def known(tmp_path: Path) -> Known:
    """Return what tells which recordings of a study are kept, in the order of its table."""

    def tell(study: Study, store: Store) -> list[bool]:
        with Workers(1) as workers:
            line = Recordings(study, tmp_path, (), workers, None, Steps(store, tmp_path))
            return [trial.identity in line.known for trial in study.trials]

    return tell
