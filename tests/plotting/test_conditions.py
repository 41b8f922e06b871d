from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.testing import assert_allclose

from twinangle.plotting import plot_condition_sds


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_conditions_show_each_participant(drawn, study):
    panel = axes_of(drawn, "conditions")[0]
    lines = {line.get_label(): line for line in panel.get_lines()}
    for code in ("P01", "P02"):
        sds = [
            t.wearable_variability.sd
            for t in study.trials
            if t.participant == code and t.procedure == "kalman"
        ]
        assert_allclose(sorted(lines[code].get_ydata()), sorted(sds))


def test_names_stay_within_axes_in_the_larger_type_of_the_users_own_style(study):
    """Of the default style, 10 points: the names stood on the figure's edge."""
    figure = Figure(figsize=(4.8, 3.6))
    canvas = FigureCanvasAgg(figure)
    axes = plot_condition_sds(study, figure.add_subplot())
    canvas.draw()
    inside = axes.get_window_extent()
    names = [text for text in axes.texts if text.get_text() in ("P01", "P02")]
    assert names
    assert all(text.get_window_extent().x1 <= inside.x1 + 1 for text in names)
