import numpy as np
from numpy.testing import assert_allclose


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_synchronisation_marks_peak_runner_up_and_drift(drawn, study):
    clock = study.trials[0].synchronisation
    correlation, windows, departures = axes_of(drawn, "indoor synchronisation")
    lines = {line.get_label(): line for line in correlation.get_lines()}
    assert_allclose(lines["peak"].get_data(), [[clock.lag_s], [clock.peak_correlation]])
    assert_allclose(lines["runner-up"].get_ydata(), clock.runner_up_correlation)
    drift = {line.get_label(): line for line in windows.get_lines()}["line"]
    x, y = drift.get_data()
    assert_allclose(np.diff(y) / np.diff(x), clock.drift_ppm * 1e-3)  # ms per s
    assert "runner" in correlation.get_legend().get_texts()[-1].get_text()
    points = {line.get_label(): line for line in departures.get_lines()}
    low, high, gap = points["_errors"].get_ydata().reshape(-1, 3).T
    assert_allclose(high - low, 2e3 * clock.window_lag_se_s)
    assert np.isnan(gap).all()
    off = clock.window_lag_s - clock.lag_s - clock.window_time_s * clock.drift_ppm * 1e-6
    assert_allclose(points["windows"].get_ydata(), 1e3 * off, atol=1e-9)
    assert departures.collections  # the line's band
    assert all("(ms)" in axes.get_ylabel() for axes in (windows, departures))
    assert all("clock (s)" in axes.get_xlabel() for axes in (windows, departures))
    for words in ("(b)", "(c)", "bars", "band"):
        assert words in drawn["indoor synchronisation"].caption
