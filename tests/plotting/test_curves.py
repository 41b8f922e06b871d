import numpy as np
from numpy.testing import assert_allclose


def test_group_figure_shows_the_means_over_participants_and_the_whole_curve_band(
    drawn_of_larger, larger
):
    curves = larger.curves[0].value
    upper, lower = drawn_of_larger["group-curves_indoor"].figure.axes
    lines = {line.get_label(): line.get_ydata() for line in upper.get_lines()}
    assert_allclose(lines["wearable"], curves.test_mean)
    assert_allclose(lines["reference"], curves.reference_mean)
    own = [t.agreement.test_mean for t in larger.trials if t.procedure == curves_of(larger)]
    assert_allclose(lines["wearable"], np.mean(own, axis=0))
    assert_allclose(curves.test_sd, np.std(own, axis=0, ddof=1))
    band = larger.along_cycle[0].value.limits.bias_band
    mean = {line.get_label(): line.get_ydata() for line in lower.get_lines()}["mean difference"]
    assert_allclose(mean, band.mean)
    shaded = lower.collections[0].get_paths()[0].vertices[:, 1]
    assert_allclose([shaded.min(), shaded.max()], [band.lower.min(), band.upper.max()])


def curves_of(results):
    return results.curves[0].procedure


def test_fewer_than_four_show_each_recording_and_no_band(drawn):
    lower = drawn["group-curves_indoor"].figure.axes[1]
    assert not lower.collections
    assert "a band needs four participants" in drawn["group-curves_indoor"].caption
