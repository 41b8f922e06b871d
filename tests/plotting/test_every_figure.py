from dataclasses import replace

import matplotlib as mpl
import pytest
from matplotlib.text import Text

from twinangle.kept import digest_of
from twinangle.plotting.conditions import draw_conditions
from twinangle.plotting.looks import rendered, styled
from twinangle.report.figures import OF_A_STUDY, as_shown
from twinangle.results import given

# One panel, or a panel a recording under its name.
UNLETTERED = ("error_budget", "limits-answer", "mean-curves", "distribution")


def is_second_of_a_pair(axes, name):
    """The reference's own panel of the whole recording stands below the wearable's."""
    return name == "indoor traces" and axes is axes.figure.axes[2]


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_figures_are_drawn_where_there_are_numbers(drawn, drawn_of_larger, study):
    of_each = {"group-curves_indoor", "limits-answer", "participants", "mean-curves",
               "limits_kalman_indoor", "limits_vqf_indoor", "contest_indoor",
               "error_budget", "magnetic_field", "distribution"}  # fmt: skip
    assert set(drawn) == {
        "indoor traces", "indoor synchronisation", "indoor cycles", "outdoor traces",
        "outdoor cycles", "conditions", *of_each,
    }  # fmt: skip
    assert given(study.along_cycle) == []  # two participants are too few
    assert "2 participants" in study.along_cycle[0].absent.reason
    assert set(drawn_of_larger) == {"along-cycle_indoor", *of_each}


def test_figures_over_all_show_no_more_of_a_recording_than_what_they_are_kept_by(study, drawn):
    with mpl.rc_context(styled()):
        found = [draw(as_shown(study)) for draw in OF_A_STUDY]
    several = [each if isinstance(each, tuple) else (each,) for each in found]
    shown = {item.name: item for each in several for item in each if item is not None}
    assert set(shown) == {name for name in drawn if name.split()[0] not in ("indoor", "outdoor")}
    with mpl.rc_context(styled()):
        for name, item in shown.items():
            assert item.caption == drawn[name].caption, name
            assert item.alternative == drawn[name].alternative, name
            assert rendered(item.figure, "svg") == rendered(drawn[name].figure, "svg"), name


def test_a_recording_changed_where_no_figure_over_all_looks_draws_none_of_them(study):
    first, *others = study.trials
    late = replace(first, timing={}, gyroscope_lag=None, plausibility=None, warnings=("late",))
    changed = replace(study, trials=(late, *others))
    assert digest_of(as_shown(changed).trials) == digest_of(as_shown(study).trials)
    assert digest_of(changed.trials) != digest_of(study.trials)
    other = replace(study, trials=(replace(first, agreement=None), *others))
    assert digest_of(as_shown(other).trials) != digest_of(as_shown(study).trials)


def test_sizes_follow_journals(drawn, drawn_of_larger):
    # Publishers' artwork guides: two columns 174 to 180 mm, type 7 to 8 pt, lines from 0.5 pt.
    for name, item in (drawn | drawn_of_larger).items():
        width, height = item.figure.get_size_inches() * 25.4
        assert 174 <= width <= 180 or 85 <= width <= 90, name
        assert height <= 120, name
        sizes = {text.get_fontsize() for text in item.figure.findobj(Text) if text.get_text()}
        assert min(sizes) >= 7, name
        assert max(sizes) <= 8, name
        for axes in item.figure.axes:
            assert all(line.get_linewidth() >= 0.5 for line in axes.get_lines()), name


def test_every_axis_says_its_quantity_and_unit(drawn):
    for name, item in drawn.items():
        for axes in item.figure.axes:
            if name not in UNLETTERED and not is_second_of_a_pair(axes, name):
                assert axes.get_title(loc="left")[0] in "abcd", name
    traces, _, whole = axes_of(drawn, "indoor traces")
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


def test_text_stays_inside_the_figure(drawn, drawn_of_larger):
    with mpl.rc_context(styled()):
        for name, item in (drawn | drawn_of_larger).items():
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


@pytest.mark.parametrize("width", [85.0, 178.0])
def test_every_figure_is_drawn_for_either_width(study, larger, width):
    # Publishers' artwork guides: type of about 7 to 8 points at print size, nothing cut off.
    with mpl.rc_context(styled()):
        several = [draw(larger, width) for draw in OF_A_STUDY]
        several.append(draw_conditions(study, width))  # the larger one has one condition
        for found in several:
            for item in found if isinstance(found, tuple) else (found,):
                if item is not None:
                    check_at_width(item, width)


def check_at_width(item, width):
    figure = item.figure
    assert figure.get_size_inches()[0] * 25.4 == pytest.approx(width), item.name
    assert figure.get_size_inches()[1] * 25.4 <= 235, item.name
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    for text in texts_of(figure):
        assert 6.5 <= text.get_fontsize() <= 8.5, (item.name, text.get_text())
        box = text.get_window_extent(renderer)
        inside = box.x0 >= -1 and box.y0 >= -1
        inside &= box.x1 <= figure.bbox.x1 + 1 and box.y1 <= figure.bbox.y1 + 1
        assert inside, (item.name, width, text.get_text(), box, figure.bbox)
    boxes = [(axes, axes.bbox) for axes in figure.axes]
    for k, (one, first) in enumerate(boxes):
        for other, second in boxes[k + 1 :]:
            assert not first.overlaps(second), (item.name, one.get_title(), other.get_title())


def test_figures_embed_truetype(written):
    # Publishers ask for embedded TrueType: FontFile2 (ISO 32000-1, table 126) and no Type 3.
    paths = sorted((written / "paper" / "figures").glob("*.pdf"))
    assert paths
    for path in paths:
        data = path.read_bytes()
        assert b"/FontFile2" in data, path.name
        assert b"/Type3" not in data, path.name
        assert b"/CreationDate" not in data, path.name
