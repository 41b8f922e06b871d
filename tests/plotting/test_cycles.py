import matplotlib as mpl
import numpy as np
from numpy.testing import assert_allclose

from twinangle import plotting
from twinangle.plotting.cycle_panels import _name_procedures
from twinangle.plotting.looks import DOUBLE_MM, add_panel, letter, new_figure, styled


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_cycles_show_all_kept_and_dropped(drawn, study):
    trial = study.trials[0]
    panels = axes_of(drawn, "indoor cycles")
    lines = {line.get_label(): line for line in panels[0].get_lines()}
    points = trial.cycles.wearable_deg.shape[1] + 1  # one more to lift the pen
    assert lines["kept"].get_xdata().size == trial.cycles.kept.sum() * points
    assert lines["left out"].get_xdata().size == (~trial.cycles.kept).sum() * points
    assert_allclose(lines["mean"].get_ydata(), trial.wearable_variability.mean_curve)
    assert f"{trial.cycles.kept.sum()} cycles kept" in drawn["indoor cycles"].caption


def test_a_key_names_each_kind_of_line_once(study):
    axes = plotting.plot_cycles(study.trials[0])
    named = [text.get_text() for text in axes.get_legend().get_texts()]
    assert named == ["left out", "kept", "± SD", "mean"]
    assert plotting.plot_cycles(study.trials[0], legend=False).get_legend() is None
    assert plotting.plot_cycle_means(study.trials[0]).get_title("left").endswith("means ± SD")


def test_demeaned_difference_has_the_reported_rms(drawn, study):
    worked = [t for t in study.trials[:2] if t.agreement is not None]
    lines = [line for line in axes_of(drawn, "indoor cycles")[3].get_lines() if
             not line.get_label().startswith("_")]  # fmt: skip
    assert [line.get_label() for line in lines] == [t.procedure for t in worked]
    for line, trial in zip(lines, worked, strict=True):
        rms = np.sqrt(np.mean(line.get_ydata() ** 2))
        assert_allclose(rms, trial.agreement.rms_demeaned, rtol=1e-9)


def test_long_names_in_a_legend_stay_within_the_panel():
    """Two names of 24 letters side by side were cut off at the page's edge."""
    with mpl.rc_context(styled()):
        figure = new_figure(DOUBLE_MM, 56)
        axes = add_panel(figure, 140.5, 9, 34, 41)
        for name in ("kalman-two-sensors agains", "vqf-joint-centre against"):
            axes.plot([0, 100], [0, 1], label=name)
        _name_procedures(axes, 2)
        figure.canvas.draw()
        assert axes.get_legend().get_window_extent().x1 <= axes.get_window_extent().x1 + 1


def test_a_panels_letter_keeps_its_distance_in_a_browser():
    """Runs of plain spaces are joined in an SVG (white-space of CSS 2.1, 16.6)."""
    with mpl.rc_context(styled()):
        axes = add_panel(new_figure(DOUBLE_MM, 56), 13, 9, 34, 41)
        letter(axes, "a Wearable")
    assert axes.get_title(loc="left") == "a\u2003Wearable"
