"""The file is guessed from the question: a topic has one name in figures and report."""

import ast
from pathlib import Path

import twinangle.plotting
import twinangle.report

REPORT, PLOTTING = (
    {path.stem: path for path in Path(package.__path__[0]).glob("*.py") if path.stem != "__init__"}
    for package in (twinangle.report, twinangle.plotting)
)
# How every figure is made, and its words.
OF_NO_TOPIC = {"alternatives", "drawn", "fonts", "looks", "onto", "panel", "thinning"}
# Panels that the figures of cycles and participants are put together from.
PANELS = {"cycle_panels", "recording_rows"}
OF_A_RECORDING = {"traces"}  # stands on the participant's page, of which report/trials.py tells


def functions(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_every_figures_topic_has_its_page():
    topics = set(PLOTTING) - OF_NO_TOPIC - PANELS - OF_A_RECORDING
    assert {"limits", "budget", "clocks"} <= topics
    assert topics <= set(REPORT)


def test_no_function_has_the_name_of_a_module():
    modules = set(REPORT) | set(PLOTTING)
    for package in (REPORT, PLOTTING):
        assert len(package) > 10
        for stem, path in package.items():
            assert not functions(path) & modules, stem


def test_every_module_of_figures_draws():
    for stem in set(PLOTTING) - OF_NO_TOPIC:
        assert any(name.startswith(("draw_", "plot_")) for name in functions(PLOTTING[stem])), stem
