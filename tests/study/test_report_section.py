"""`[report]`: whether traces are written, and the note where they are not."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from pydantic import ValidationError

from twinangle.analysis.study import _notes
from twinangle.artwork import Artwork, artwork_of, changed
from twinangle.errors import closed
from twinangle.results import TrialResult
from twinangle.results.tables.cycle_points import LONGEST_S
from twinangle.signals.timing import TimingReport
from twinangle.study.section_faults import Faults, read_section
from twinangle.study.settings import ReportSettings


def test_traces_are_true_false_or_left_out():
    assert ReportSettings().traces is None
    assert ReportSettings(traces=False).traces is False
    with pytest.raises(ValidationError, match="valid boolean"):
        ReportSettings(traces="yes")


@pytest.mark.parametrize(
    ("seconds", "said", "noted"),
    [(LONGEST_S, None, False), (LONGEST_S + 1, None, True), (LONGEST_S + 1, True, False)],
)
def test_traces_left_out_for_their_length_are_noted(seconds, said, noted):
    trial = TrialResult("P1", "", "indoor", "", "", "vqf", "ok")
    timing = {"wearable": TimingReport(100.0, round(100 * seconds), 0, 0, 0.0, 0.0)}
    trials = [replace(trial, procedure=name, timing=timing) for name in ("vqf", "kalman")]
    study = SimpleNamespace(
        warnings=(), calibration=None, trials=(), report=ReportSettings(traces=said)
    )
    notes = [note for note in _notes(study, trials) if "traces" in note]
    assert len(notes) == noted
    if noted:
        assert "Traces of 1 recording of more than two hours" in notes[0]
        assert "`traces = true` under [report]" in notes[0]


def test_figures_for_a_paper_are_checked_before_anything_is_computed():
    settings = ReportSettings(figure_width_mm=(88, 180.5), figure_formats=("tiff",), dpi=600)
    assert (settings.figure_width_mm, settings.dpi) == ((88, 180.5), 600)
    assert ReportSettings().figure_formats == ("pdf", "svg")
    assert ReportSettings().figure_width_mm == ()  # as in the report: nothing is drawn twice
    for wrong, said in (
        ({"figure_width_mm": (30.0,)}, "30 is not between 80 and 200"),
        ({"figure_formats": ()}, "at least one"),
        ({"figure_formats": ("jpg",)}, "'jpg' is not one of pdf, svg, png, tiff"),
        ({"figure_formats": ("pdf", "pdf")}, "each once"),
        ({"dpi": 72}, "72 is not between 150 and 1200"),
    ):
        with pytest.raises(ValidationError, match=said):
            ReportSettings(**wrong)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"figure_width_mm": 85}, "should be a list, got 85; accepted: `figure_width_mm = [85]`"),
        (
            {"figure_width_mm": (30,)},
            "needs the first, a page ends at the second.",
        ),
    ],
)
def test_a_number_for_a_list_is_told_with_the_list_and_a_sentence_ends_once(given, said):
    faults = Faults("study.toml", {})
    assert read_section("report", {"report": given}, faults) is None
    (told,) = faults.sorted_texts()
    assert said in told
    assert not told.endswith("..")


def test_what_a_library_says_is_closed_with_one_full_stop():
    assert closed(ValueError("no such sheet.")) == closed("no such sheet") == "no such sheet."


def test_artwork_of_a_run_without_it_is_the_default():
    assert artwork_of({"report": {"traces": None}}) == artwork_of({}) == Artwork()
    asked = changed(Artwork(), widths=[90.0], formats=None, dpi=600)
    assert asked == Artwork((90.0,), ("pdf", "svg"), 600)
