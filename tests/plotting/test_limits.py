import numpy as np


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_limits_are_drawn_where_they_are(drawn, study):
    pooled = study.limits[0].value
    panel = axes_of(drawn, "limits_kalman_indoor")[0]
    levels = [line.get_ydata()[0] for line in panel.get_lines() if len(set(line.get_ydata())) == 1]
    for level in (pooled.limits.lower, pooled.limits.bias, pooled.limits.upper):
        assert np.isclose(levels, level).any()
    points = [line for line in panel.get_lines() if line.get_label() in ("P01", "P02")]
    assert sum(line.get_xdata().size for line in points) == len(pooled.difference)
    assert len({line.get_marker() for line in points}) == 2
    texts = [text.get_text() for text in panel.texts]
    assert f"{pooled.limits.bias:.2f}°".replace("-", "−") in texts


def test_margin_is_drawn(drawn, study):
    panel = axes_of(drawn, "limits_vqf_indoor")[0]
    levels = [line.get_ydata()[0] for line in panel.get_lines() if len(set(line.get_ydata())) == 1]
    assert {-study.acceptable_deg, study.acceptable_deg} <= set(levels)
