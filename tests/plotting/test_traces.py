from numpy.testing import assert_array_equal


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_traces_show_both_instruments_apart_without_colour(drawn):
    stretch = axes_of(drawn, "indoor traces")[0]
    wearable, reference = stretch.get_lines()
    assert [line.get_label() for line in (wearable, reference)] == ["wearable", "reference"]
    assert wearable.get_linestyle() == "-"
    assert reference.get_linestyle() != "-"
    assert len(axes_of(drawn, "outdoor traces")[0].get_lines()) == 1


def test_stretch_is_the_signal_itself(drawn, study):
    x, y = axes_of(drawn, "indoor traces")[0].get_lines()[0].get_data()
    paired = study.trials[0].paired
    part = (paired.time_s >= x[0]) & (paired.time_s <= x[-1])
    assert_array_equal(y, paired.wearable_deg[part])
    assert 10 <= x[-1] - x[0] <= 15
