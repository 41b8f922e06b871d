"""A small invented study of ready-made angles that decisions are tried on: three short walks."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from twinangle.study import apply_decisions, read_bare_study
from twinangle.study.decisions import Decision, append_decision, recording_hash

sys.path.insert(0, str(Path(__file__).parent))

STUDY = """\
[study]
title = "Invented walks"
joint = "knee"
trials = "trials.csv"
invented = true
[wearable]
kind = "angle"
time = "t"
angle = "knee"
[reference]
kind = "angle"
time = "t"
angle = "knee"
[synchronisation]
max_lag_s = 5.0
drift = false
[cycles]
method = "angle-peak"
overrides = "cycles.csv"
"""
LAG_S = 1.5
LABEL = "{} all session 1 trial 1"


def knee(phase):
    """A stylised knee in walking, degrees over the phase of the cycle."""
    return (
        3
        + 14 * np.exp(-((phase % 1 - 0.14) ** 2) / (2 * 0.06**2))
        + 59 * np.exp(-((phase % 1 - 0.72) ** 2) / (2 * 0.09**2))
    )


def write_walk(folder: Path, name: str, rng: np.random.Generator) -> None:
    """Write both instruments' angle over half a minute, the eighth stride odd."""
    time = np.arange(0, 34.0, 0.02)
    strides = np.cumsum(rng.normal(1.1, 0.03, 40))
    phase = np.interp(time, np.concatenate(([0.0], strides)), np.arange(41.0))
    scale = np.interp(phase, np.arange(42.0), rng.normal(1.0, 0.03, 42))
    true = np.where((time < 3.0), 3.0, scale * knee(phase))
    odd = (phase > 8.2) & (phase < 8.9)
    wearable = true + 1.5 + 0.02 * true + rng.normal(0, 0.3, time.size) - 25 * odd
    reference = true + rng.normal(0, 0.3, time.size)
    for role, start, values in (("w", LAG_S, wearable), ("r", 0.0, reference)):
        lines = [f"{t + start:.3f},{value:.3f}" for t, value in zip(time, values, strict=True)]
        (folder / f"{role}_{name}.csv").write_text("\n".join(["t,knee", *lines, ""]))


class Decided:
    """A study's folder to decide in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.bare = read_bare_study(folder)

    def decision(self, kind, value=None, who="P01", *, why="looked odd", **fields):
        """Return a decision on a participant's recording."""
        name = LABEL.format(who)
        trial = next((each for each in self.bare.trials if each.label == name), None)
        filled = {
            "input": recording_hash(self.bare, trial) if trial is not None else "0" * 64,
            "version": "0.1",
            "when": "2026-11-28T02:00:00Z",
        } | fields
        return Decision("R1", name, kind, value or {}, why, **filled)

    def decide(self, kind, value=None, who="P01", **fields):
        """Write a decision into the study."""
        return append_decision(self.folder, self.decision(kind, value, who, **fields))

    def study(self, *decisions):
        """Return the study under decisions that are not written."""
        numbered = [replace(each, id=k) for k, each in enumerate(decisions, start=1)]
        return apply_decisions(self.bare, numbered)


def make_study(folder: Path, people=("P01", "P02", "P03")) -> Path:
    """Write the study, with an empty table of overrides."""
    rng = np.random.default_rng(5)
    folder.mkdir(exist_ok=True)
    for name in people:
        write_walk(folder, name, rng)
    (folder / "study.toml").write_text(STUDY)
    (folder / "cycles.csv").write_text("participant,time_s,decision,reason\n")
    rows = [f"{name},w_{name}.csv,r_{name}.csv,," for name in people]
    head = "participant,wearable,reference,static_start_s,static_end_s"
    (folder / "trials.csv").write_text("\n".join([head, *rows, ""]))
    return folder


@pytest.fixture(scope="session")
def walks(tmp_path_factory) -> Decided:
    """The study, never changed."""
    return Decided(make_study(tmp_path_factory.mktemp("walks") / "study"))


@pytest.fixture
def own_walks(tmp_path) -> Decided:
    """A copy of one's own."""
    return Decided(make_study(tmp_path / "study", people=("P01",)))
