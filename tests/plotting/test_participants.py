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


def cells_of(line):
    """The curves of a row, which one broken line holds: over 0 to 100 % each, as from its start."""
    x, y = line.get_data()
    ends = np.flatnonzero(np.isnan(y))
    cells = zip(np.split(x, ends + 1)[:-1], np.split(y, ends + 1)[:-1], strict=True)
    return [(x[:-1] - x[0], y[:-1]) for x, y in cells]


def test_small_multiples_share_their_scales_and_show_every_recording(drawn_of_larger, larger):
    axes = drawn_of_larger["mean-curves"].figure.axes
    below, above = axes[::2], axes[1::2]
    mine = [t for t in larger.trials if t.procedure == "kalman"]
    assert [text.get_text() for row in above for text in row.texts] == [t.participant for t in mine]
    assert len({row.get_ylim() for row in above}) == len({row.get_ylim() for row in below}) == 1
    drawn = [[c for row in rows for c in cells_of(row.get_lines()[k])]
             for rows, k in ((above, 0), (above, 1), (below, 1))]  # fmt: skip
    for trial, *cells in zip(mine, *drawn, strict=True):
        found = trial.agreement
        shown = (found.test_mean, found.reference_mean, found.test_mean - found.reference_mean)
        for (percent, curve), expected in zip(cells, shown, strict=True):
            assert_allclose(curve, expected)
            assert_allclose(percent, np.linspace(0, 100, expected.size), atol=1e-9)
    for row in above:  # no curve leaves its cell, as none is cut off there
        for _, curve in (*cells_of(row.get_lines()[0]), *cells_of(row.get_lines()[1])):
            assert row.get_ylim()[0] < curve.min() < curve.max() < row.get_ylim()[1]


def test_colours_of_the_instruments_mean_nothing_else(drawn, drawn_of_larger):
    # Blue and orange are wearable and reference; no procedure, bar or line of another kind.
    for name in ("contest_indoor", "error_budget", "limits_kalman_indoor", "along-cycle_indoor"):
        figure = drawn_of_larger[name].figure
        colours = {line.get_color() for axes in figure.axes for line in axes.get_lines()}
        assert not colours & {"#17508f", "#dd8316"}, name


def test_cycles_of_all_recordings_share_their_heights(drawn):
    indoor, outdoor = (drawn[f"{where} cycles"].figure.axes for where in ("indoor", "outdoor"))
    assert indoor[0].get_ylim() == outdoor[0].get_ylim()
