"""A panel must look as the plotting library's own axes do, pixel for pixel."""

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes

from twinangle.plotting.looks import few_ticks, new_figure, styled
from twinangle.plotting.panel import Panel


def plain(axes):
    axes.plot([0, 1, 2], [-0.25, 3, 1000.5])
    axes.set(xlabel="Time (s)", ylabel="Angle (°)")
    few_ticks(axes)


def reversed_and_negative(axes):
    axes.plot([-3, 4], [5, -7])
    axes.set_ylim(6, -8)
    axes.set_xlabel("Lag (s)")


def named(axes):
    axes.barh([0, 1], [3, 4])
    axes.set_yticks([0, 1], ["kalman, indoor", "vqf"])
    axes.set_ylabel("Procedure")


def two_lines(axes):
    axes.set_yticks([0, 1], ["first\nsecond", "third\nfourth"])
    axes.set_ylabel("Pairs")


def without_labels(axes):
    axes.plot([0, 1], [0, 1])
    axes.tick_params(labelleft=False)
    axes.set_ylabel("Shared")


def without_ticks(axes):
    axes.set_xticks([])
    axes.tick_params(left=False, labelleft=False)
    axes.set(xlabel="Nothing", ylabel="Neither")


def with_multiplier(axes):
    axes.plot([0, 1], [0, 3e9])
    axes.set_ylabel("Large")


def on_both_sides(axes):
    axes.plot([0, 1], [0, 1])
    axes.tick_params(top=True, labelright=True)


def with_minor_ticks(axes):
    axes.plot([0, 1], [0, 1])
    axes.minorticks_on()


def picture(kind, draw):
    with mpl.rc_context(styled()):
        figure = new_figure(60, 40)
        draw(figure.add_axes((0.3, 0.25, 0.55, 0.6), axes_class=kind))
        figure.set_dpi(150)
        figure.canvas.draw()
        return np.asarray(figure.canvas.buffer_rgba())


@pytest.mark.parametrize(
    "draw",
    [
        plain, reversed_and_negative, named, two_lines, without_labels, without_ticks,
        with_multiplier, on_both_sides, with_minor_ticks,
    ],
)  # fmt: skip
def test_panel_looks_like_the_library_s_axes(draw):
    ours, theirs = picture(Panel, draw), picture(Axes, draw)
    assert (theirs < 128).any()  # there is something to see
    np.testing.assert_array_equal(ours, theirs)


def test_panel_answers_for_its_ticks():
    with mpl.rc_context(styled()):
        axes = new_figure(60, 40).add_axes((0.2, 0.2, 0.7, 0.7), axes_class=Panel)
        axes.set_yticks([0, 1], ["low", "high"])
        axes.figure.canvas.draw()
        assert [text.get_text() for text in axes.get_yticklabels()] == ["low", "high"]
        assert not axes.xaxis.get_minor_ticks()
