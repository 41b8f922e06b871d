import numpy as np


def test_along_the_cycle_shows_bias_and_limits(drawn_of_larger, larger):
    procedure, limits = larger.along_cycle[0].procedure, larger.along_cycle[0].value.limits
    axes = drawn_of_larger["along-cycle_indoor"].figure.axes[0]
    assert procedure in axes.get_title(loc="left")
    lines = [line.get_ydata() for line in axes.get_lines() if len(line.get_ydata()) == 101]
    for curve in (limits.bias, limits.lower, limits.upper):
        assert any(np.array_equal(curve, line) for line in lines)
