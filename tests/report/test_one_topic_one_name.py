"""The file is guessed from the question: a topic has one name in figures and report."""

import ast
from collections import defaultdict
from pathlib import Path

import twinangle
import twinangle.plotting
import twinangle.report

REPORT, PLOTTING = (
    {path.stem: path for path in Path(package.__path__[0]).glob("*.py") if path.stem != "__init__"}
    for package in (twinangle.report, twinangle.plotting)
)
# How every figure is made, and its words.
OF_NO_TOPIC = {
    "alternatives", "drawn", "fonts", "looks", "onto", "own_figure", "panel", "svg", "svg_paths",
    "thinning",
}  # fmt: skip
# Panels that the figures of cycles and participants are put together from.
PANELS = {"cycle_panels", "recording_rows"}
# A recording's own: on the participant's page, of which report/trials.py tells, or in a notebook.
OF_A_RECORDING = {"traces", "quiet_standing"}

# Every name that two files or packages bear, and the places where it stands for one and the same
# topic. A name that is not here, or in a further place, needs a look: is it about the same thing?
FLOORS = "agreement analysis plotting report"
SHARED = {
    "along_cycle": FLOORS,
    "answer": "report results",
    "budget": FLOORS,
    "by_hand": "report study",
    "clocks": ". plotting report",
    "conditions": FLOORS,
    "conditions_adjusted": "agreement analysis",
    "curves": FLOORS,
    "cycles": ". plotting report results.tables",
    "daily_life": "analysis cycles plotting report results.tables",
    "decided": "results study",
    "decisions": "export report results.tables study",
    "deming": "agreement report",
    "distribution": "plotting report",
    "equivalence": "agreement analysis report",
    "forms": "agreement analysis report",
    "instruments": "analysis plotting report results results.tables study",
    "limits": f"{FLOORS} results results.tables",
    "magnetic_field": "plotting report results.tables wearable.quality",
    "multiple_correlation": "agreement report",
    "notices": ". results",
    "participants": "plotting report",
    "plausibility": ". analysis",
    "pooled": "results results.tables",
    "provenance": "report results.tables",
    "ranking": FLOORS,
    "reliability": FLOORS,
    "sensitivity": "agreement analysis report",
    "study": ". analysis",
    "tables": "report.paper results",
    "trials": "report results.tables",
    "variability": "agreement analysis report",
}


def places_of_names(root):
    """Return, for each name of a module or package, where it stands; `.` is the top."""
    places = defaultdict(set)
    for path in root.rglob("*.py"):
        named = path.parent if path.stem == "__init__" else path.with_suffix("")
        if named != root:
            inside = named.parent.relative_to(root)
            places[named.name].add(".".join(inside.parts) or ".")
    return places


def test_two_files_share_a_name_only_where_they_are_about_one_topic():
    places = places_of_names(Path(twinangle.__path__[0]))
    twins = {name: where for name, where in places.items() if len(where) > 1}
    assert twins == {name: set(where.split()) for name, where in SHARED.items()}


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
