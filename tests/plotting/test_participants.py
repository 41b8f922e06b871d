import numpy as np
from numpy.testing import assert_allclose


def test_each_recording_has_its_row_and_the_means_stand_at_the_foot(drawn_of_larger, larger):
    offset, rms, _ = drawn_of_larger["participants"].figure.axes
    mine = [t for t in larger.trials if t.procedure == "kalman"]
    labels = [label.get_text() for label in offset.get_yticklabels()]
    assert labels == [*(t.participant for t in mine), "Mean"]
    lines = rms.get_lines()
    marks = [x for line in lines if line.get_linestyle() == "None" for x in line.get_xdata()]
    pooled = larger.curves[0].value
    assert_allclose(marks, [*(t.agreement.rms_demeaned for t in mine), pooled.rms_demeaned])
    drawn = [line.get_xdata() for line in lines if line.get_label() == "_intervals"]
    bars = np.concatenate(drawn).reshape(-1, 3)[:, :2]
    assert_allclose(bars[-1], pooled.rms_demeaned_ci)


def test_small_multiples_share_their_scales(drawn_of_larger, larger):
    axes = drawn_of_larger["mean-curves"].figure.axes
    below, above = axes[::2], axes[1::2]
    assert len(above) == len({t.participant for t in larger.trials})
    assert len({panel.get_ylim() for panel in above}) == 1
    assert len({panel.get_ylim() for panel in below}) == 1
    first = next(t for t in larger.trials if t.procedure == "kalman").agreement
    assert_allclose(below[0].get_lines()[1].get_ydata(), first.test_mean - first.reference_mean)


def test_colours_of_the_instruments_mean_nothing_else(drawn, drawn_of_larger):
    # Blue and orange are wearable and reference; no procedure, bar or line of another kind.
    for name in ("contest_indoor", "error_budget", "limits_kalman_indoor", "along-cycle_indoor"):
        figure = drawn_of_larger[name].figure
        colours = {line.get_color() for axes in figure.axes for line in axes.get_lines()}
        assert not colours & {"#17508f", "#dd8316"}, name


def test_cycles_of_all_recordings_share_their_heights(drawn):
    indoor, outdoor = (drawn[f"{where} cycles"].figure.axes for where in ("indoor", "outdoor"))
    assert indoor[0].get_ylim() == outdoor[0].get_ylim()
