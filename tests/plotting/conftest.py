"""The figures of the invented results that the tests of the report are made with."""

import importlib.util
from pathlib import Path

import matplotlib as mpl
import pytest

from twinangle.plotting.cycles import draw_cycles, shared_scale
from twinangle.plotting.looks import styled
from twinangle.report.figures import OF_A_STUDY, draw_recording
from twinangle.results.grouping import trial_groups

_place = Path(__file__).parents[1] / "report" / "conftest.py"
_spec = importlib.util.spec_from_file_location("invented_results", _place)
_invented = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_invented)
build_results, study, larger, over_days, written = (
    getattr(_invented, name)
    for name in ("build_results", "study", "larger", "over_days", "written")
)


def of_a_study(results):
    """All figures over all trials, by name."""
    with mpl.rc_context(styled()):
        found = [draw(results) for draw in OF_A_STUDY]
    several = [each if isinstance(each, tuple) else (each,) for each in found]
    return {figure.name: figure for each in several for figure in each if figure is not None}


@pytest.fixture(scope="session")
def drawn(study):
    """All figures of the study by name, of the first trial indoors and outdoors."""
    indoor, outdoor = trial_groups(study)[:2]
    scale = shared_scale(study)
    with mpl.rc_context(styled()):
        figures = {
            f"{where} {f.name}": f
            for where, group in (("indoor", indoor), ("outdoor", outdoor))
            for f in (*draw_recording(group, "knee"), draw_cycles(group, "knee", scale))
        }
    return figures | of_a_study(study)


@pytest.fixture(scope="session")
def drawn_of_larger(larger):
    """All figures over the trials of the larger study, by name."""
    return of_a_study(larger)
