import numpy as np
import pytest

from twinangle import plotting
from twinangle.plotting.limits import draw_limits


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
    assert f"bias {pooled.limits.bias:.2f}°".replace("-", "−") in texts
    assert {"P01", "P02"} <= set(texts)  # the names beside the marks


def test_margin_is_drawn(drawn, study):
    panel = axes_of(drawn, "limits_vqf_indoor")[0]
    levels = [line.get_ydata()[0] for line in panel.get_lines() if len(set(line.get_ydata())) == 1]
    assert {-study.acceptable_deg, study.acceptable_deg} <= set(levels)


def test_all_panels_of_limits_share_their_heights(drawn):
    panels = [*axes_of(drawn, "limits_kalman_indoor"), *axes_of(drawn, "limits_vqf_indoor")]
    assert len({axes.get_ylim() for axes in [*panels, *axes_of(drawn, "limits-answer")]}) == 1


def test_intervals_are_bars_beside_the_axes_cut_where_the_view_ends(drawn_of_larger, larger):
    limits = larger.limits[0].value.limits
    panel = axes_of(drawn_of_larger, "limits_kalman_indoor")[0]
    bottom, top = panel.get_ylim()
    bars = [tuple(line.get_ydata()) for line in panel.get_lines() if not line.get_clip_on()]
    for low, high in (limits.lower_ci, limits.bias_ci, limits.upper_ci):
        assert any(np.allclose(bar, (max(low, bottom), min(high, top))) for bar in bars
                   if len(bar) == 2)  # fmt: skip


@pytest.mark.parametrize("people", ["few", "enough"])
def test_no_space_is_kept_for_bars_that_are_not_there(people, study, larger):
    results = study if people == "few" else larger
    limits = results.limits[0].value.limits
    axes = plotting.plot_limits(results.limits[0])
    bars = sum(np.isfinite(e).all() for e in (limits.lower_ci, limits.bias_ci, limits.upper_ci))
    (named,) = [text for text in axes.texts if text.get_text().startswith("bias")]
    assert np.isclose(named.xyann[0] * 25.4 / 72, 1.7 + 1.9 * bars)
    levels = [line for line in axes.get_lines() if tuple(line.get_xdata()) == (0, 1)]
    drawn_at = {float(line.get_ydata()[0]) for line in levels}
    assert {limits.lower, limits.bias, limits.upper} <= drawn_at  # as far as the words
    (drawn, *_) = draw_limits(results)
    assert ("bars beside them" in drawn.caption) == (bars > 0)
