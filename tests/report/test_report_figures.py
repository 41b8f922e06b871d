import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.text import Text
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.report.figures_study import draw_conditions, draw_limits, draw_overview
from twinangle.report.figures_trial import draw_trial
from twinangle.report.grouping import trial_groups
from twinangle.report.style import (
    REFERENCE,
    WEARABLE,
    envelope,
    joined,
    new_figure,
    save_figure,
    styled,
    thinned,
)


@pytest.fixture(scope="module")
def drawn(study):
    """All figures of the study by name, of the first trial indoors and outdoors."""
    with mpl.rc_context(styled()):
        indoor, outdoor = trial_groups(study)[:2]
        figures = {f"indoor {f.name}": f for f in draw_trial(indoor, "knee")}
        figures |= {f"outdoor {f.name}": f for f in draw_trial(outdoor, "knee")}
        pooled = [draw_overview(study), draw_conditions(study), *draw_limits(study)]
        return figures | {f.name: f for f in pooled}


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_each_recording_has_its_figures(drawn):
    assert set(drawn) == {
        "indoor traces", "indoor synchronisation", "indoor cycles", "outdoor traces",
        "outdoor cycles", "overview", "conditions", "limits_kalman_indoor", "limits_vqf_indoor",
    }  # fmt: skip


def test_sizes_follow_journals(drawn):
    # Publishers' artwork guides: two columns 174 to 180 mm, type 7 to 8 pt, lines from 0.5 pt.
    for name, item in drawn.items():
        width, height = item.figure.get_size_inches() * 25.4
        assert 174 <= width <= 180, name
        assert height <= 120, name
        sizes = {text.get_fontsize() for text in item.figure.findobj(Text) if text.get_text()}
        assert min(sizes) >= 7, name
        assert max(sizes) <= 8, name
        for axes in item.figure.axes:
            assert all(line.get_linewidth() >= 0.5 for line in axes.get_lines()), name


def test_every_axis_says_its_quantity_and_unit(drawn):
    for name, item in drawn.items():
        for axes in item.figure.axes:
            assert axes.get_title(loc="left")[0] in "abcd", name
    traces, whole = axes_of(drawn, "indoor traces")
    assert traces.get_xlabel() == "Time (s)"
    assert traces.get_ylabel() == "Knee flexion (°)"
    assert whole.get_xlabel() == "Time (s)"
    assert axes_of(drawn, "limits_vqf_indoor")[0].get_ylabel() == "Wearable − reference (°)"
    assert axes_of(drawn, "limits_vqf_indoor")[0].get_xlabel() == "Mean of both (°)"
    assert axes_of(drawn, "indoor cycles")[3].get_ylabel() == "Difference (°)"


def texts_of(figure):
    """Every text that is drawn: titles, labels, ticks in view, keys and notes."""
    found = [text for legend in figure.legends for text in legend.get_texts()]
    for axes in figure.axes:
        found += [axes.xaxis.label, axes.yaxis.label, axes._left_title, *axes.texts]
        found += axes.get_legend().get_texts() if axes.get_legend() else []
        for axis, ends in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            labels = axis.get_majorticklabels()  # none where they are switched off
            ticks = zip(axis.get_majorticklocs(), labels, strict=bool(labels))
            found += [label for place, label in ticks if min(ends) <= place <= max(ends)]
    return [text for text in found if text.get_text() and text.get_visible()]


def test_text_stays_inside_the_figure(drawn):
    with mpl.rc_context(styled()):
        for name, item in drawn.items():
            renderer = item.figure.canvas.get_renderer()
            item.figure.draw(renderer)
            frame = item.figure.bbox
            for text in texts_of(item.figure):
                box = text.get_window_extent(renderer)
                inside = (
                    box.x0 >= frame.x0 - 1
                    and box.x1 <= frame.x1 + 1
                    and box.y0 >= frame.y0 - 1
                    and box.y1 <= frame.y1 + 1
                )
                assert inside, (name, text.get_text(), box, frame)


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
    (bars,) = departures.containers
    _, _, (spans,) = bars.lines
    heights = [np.ptp(segment[:, 1]) for segment in spans.get_segments()]
    assert_allclose(heights, 2e3 * clock.window_lag_se_s)
    off = clock.window_lag_s - clock.lag_s - clock.window_time_s * clock.drift_ppm * 1e-6
    assert_allclose(bars.lines[0].get_ydata(), 1e3 * off, atol=1e-9)
    assert departures.collections  # the line's band
    assert all("(ms)" in axes.get_ylabel() for axes in (windows, departures))
    assert all("clock (s)" in axes.get_xlabel() for axes in (windows, departures))
    for words in ("(b)", "(c)", "bars", "band"):
        assert words in drawn["indoor synchronisation"].caption


def test_cycles_show_all_kept_and_dropped(drawn, study):
    trial = study.trials[0]
    panels = axes_of(drawn, "indoor cycles")
    lines = {line.get_label(): line for line in panels[0].get_lines()}
    points = trial.cycles.wearable_deg.shape[1] + 1  # one more to lift the pen
    assert lines["kept"].get_xdata().size == trial.cycles.kept.sum() * points
    assert lines["left out"].get_xdata().size == (~trial.cycles.kept).sum() * points
    assert_allclose(lines["mean"].get_ydata(), trial.wearable_variability.mean_curve)
    assert f"{trial.cycles.kept.sum()} cycles kept" in drawn["indoor cycles"].caption


def test_demeaned_difference_has_the_reported_rms(drawn, study):
    worked = [t for t in study.trials[:2] if t.agreement is not None]
    lines = [line for line in axes_of(drawn, "indoor cycles")[3].get_lines() if
             not line.get_label().startswith("_")]  # fmt: skip
    assert [line.get_label() for line in lines] == [t.procedure for t in worked]
    for line, trial in zip(lines, worked, strict=True):
        rms = np.sqrt(np.mean(line.get_ydata() ** 2))
        assert_allclose(rms, trial.agreement.rms_demeaned, rtol=1e-9)


def test_limits_are_drawn_where_they_are(drawn, study):
    pooled = study.limits[0]
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


# W3C, Web Content Accessibility Guidelines 2.1: relative luminance and contrast ratio.
def luminance(colour):
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def test_instruments_are_apart_in_grey():
    assert_allclose(luminance("#ffffff"), 1)
    dark, light = sorted([luminance(WEARABLE), luminance(REFERENCE)])
    assert (light + 0.05) / (dark + 0.05) > 2.5


# Machado, Oliveira & Fernandes 2009, IEEE Trans Vis Comput Graph 15:1291, full severity, for
# linear RGB; the matrices are from memory.
CVD = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


@pytest.mark.parametrize("name", CVD)
def test_instruments_are_apart_for_colour_blind_readers(name):
    def seen(colour):
        rgb = np.array(to_rgb(colour))
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        return np.clip(np.array(CVD[name]) @ linear, 0, 1)

    assert_allclose(np.array(CVD[name]).sum(axis=1), 1, atol=2e-6)  # greys stay grey
    assert np.linalg.norm(seen(WEARABLE) - seen(REFERENCE)) > 0.3


@pytest.mark.parametrize("n", [10, 2399, 2400, 2401, 100_003])
def test_envelope_keeps_extremes_and_order(n):
    rng = np.random.default_rng(n)
    time, values = np.arange(n) / 100, rng.normal(size=n).cumsum()
    x, y = envelope(time, values)
    assert x.size == y.size <= max(2400, 0)
    assert (y.min(), y.max()) == (values.min(), values.max())
    assert np.all(np.diff(x) > 0)
    assert time[0] <= x[0]
    assert x[-1] <= time[-1]


def test_envelope_keeps_gaps():
    values = np.ones(50_000)
    values[10_000:20_000] = np.nan
    x, y = envelope(np.arange(50_000.0), values)
    inside = (x > 10_100) & (x < 19_900)
    assert np.isnan(y[inside]).all()
    outside = y[(x < 9_900) | (x > 20_100)]
    assert outside.size > 100
    assert (outside == 1).all()


def test_joined_curves_lift_the_pen_between_cycles():
    x, y = joined(np.arange(12.0).reshape(3, 4))
    assert np.isnan(y[4::5]).all()
    assert_array_equal(y.reshape(3, 5)[:, :4], np.arange(12.0).reshape(3, 4))
    assert np.isnan(x).sum() == 3


def test_thinning_keeps_the_ends():
    rows = thinned(np.arange(1000), 120)
    assert rows.size == 120
    assert (rows[0], rows[-1]) == (0, 999)


def test_figures_embed_truetype(written):
    # Publishers ask for embedded TrueType: FontFile2 (ISO 32000-1, table 126) and no Type 3.
    paths = list((written / "figures").glob("*.pdf"))
    assert paths
    for path in paths:
        data = path.read_bytes()
        assert b"/FontFile2" in data, path.name
        assert b"/Type3" not in data, path.name
        assert b"/CreationDate" not in data, path.name


def test_image_formats_are_written_at_300_dpi(tmp_path):
    from PIL import Image

    with mpl.rc_context(styled()):
        figure = new_figure(88, 40)
        figure.add_axes((0.2, 0.2, 0.7, 0.7)).plot([0, 1], [0, 1])
        save_figure(figure, tmp_path / "a.b", ("png", "tiff"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.b.pdf", "a.b.png", "a.b.tiff"]
    with Image.open(tmp_path / "a.b.png") as image:
        assert abs(image.width - 88 / 25.4 * 300) <= 1


def test_unknown_image_format_is_refused(tmp_path):
    with pytest.raises(ValueError, match="expected png or tiff, got 'jpg'"):
        save_figure(new_figure(88, 40), tmp_path / "a", ("jpg",))
