"""A small study's results, analysed once."""

from __future__ import annotations

from dataclasses import replace

import pytest

import twinangle
from twinangle.results import StudyResults
from twinangle.simulate import write_demo_study


@pytest.fixture(scope="package")
def results(tmp_path_factory) -> StudyResults:
    """A small study like the demo, with both conditions and an excluded trial."""
    folder = tmp_path_factory.mktemp("read") / "study"
    write_demo_study(folder, participants=2, walk_s=25.0)
    study = twinangle.read_study(folder)
    excluded = replace(study.trials[-1], exclude="invented: sensor fell off")
    return twinangle.run_study(replace(study, trials=(*study.trials[:-1], excluded)))
