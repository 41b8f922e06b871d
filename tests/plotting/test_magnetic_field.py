from numpy.testing import assert_allclose


def test_field_is_drawn_in_percent(drawn_of_larger, larger):
    axes = drawn_of_larger["magnetic_field"].figure.axes[0]
    first = axes.get_lines()[0].get_ydata()
    assert_allclose(first, 100 * larger.trials[0].sensors[0].norm_deviation)
