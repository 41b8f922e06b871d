"""The invented results of the report's tests, for the tables as well; and a small study's own."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest

import twinangle
from twinangle.results import StudyResults
from twinangle.simulate import write_demo_study

PATH = Path(__file__).parents[1] / "report" / "conftest.py"
_spec = importlib.util.spec_from_file_location("invented_results", PATH)
_invented = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_invented)

build_results = _invented.build_results
fail_trial = _invented.fail_trial
study = _invented.study
larger = _invented.larger


@pytest.fixture(scope="package")
def results(tmp_path_factory) -> StudyResults:
    """A small study like the demo, with both conditions and an excluded trial."""
    folder = tmp_path_factory.mktemp("read") / "study"
    write_demo_study(folder, participants=2, walk_s=25.0)
    study = twinangle.read_study(folder)
    excluded = replace(study.trials[-1], exclude="invented: sensor fell off")
    return twinangle.run_study(replace(study, trials=(*study.trials[:-1], excluded)))
