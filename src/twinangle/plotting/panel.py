"""Axes that cost little: no tick is an object of its own.

The plotting library keeps five artists with all their properties for every tick, and lays the
labels out three times; in figures as small as these, that was half of the time they took. Here an
axis draws its marks as one line and its labels one after the other with a single text, where the
library puts them. What this does not cover (minor ticks, an offset, marks on both sides, labels
of several lines) is left to the library.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis, XAxis, YAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.markers import TICKDOWN, TICKLEFT, MarkerStyle
from matplotlib.path import Path
from matplotlib.spines import Spine
from matplotlib.text import Text
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from matplotlib.transforms import Transform

from twinangle.signals.recording import Array


class _LateTicks:
    """A list of ticks that starts empty; the library's starts with one that is seldom drawn."""

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    def __get__(self, axis: Any, owner: type) -> Any:
        return self if axis is None else axis.__dict__.setdefault(self._name, [])


@dataclass(frozen=True, slots=True)
class _Side:
    """Where an axis has its ticks."""

    near: str  # as `tick_params` names it
    far: str  # where there are none
    mark: Any  # the marker that points outwards
    across: int  # the coordinate square to the axis: 0 for x, 1 for y


class _PlainAxis(Axis):
    """What the two axes of a panel share."""

    majorTicks = _LateTicks()  # noqa: N815 - the library's name
    minorTicks = _LateTicks()  # noqa: N815
    axis_name: str
    side: _Side

    def clear(self) -> None:
        """Start anew, and keep the style of now for ticks that are drawn later."""
        super().clear()
        style = cast("Mapping[str, Any]", mpl.rcParams)
        kind = f"{self.axis_name}tick"
        self.set_tick_params(
            length=style[f"{kind}.major.size"], width=style[f"{kind}.major.width"],
            color=style[f"{kind}.color"], pad=style[f"{kind}.major.pad"],
            labelsize=style[f"{kind}.labelsize"], labelcolor=style[f"{kind}.color"],
            labelfontfamily=style["font.family"],
        )  # fmt: skip

    def set_ticks(
        self, ticks: Any, labels: Any = None, *, minor: bool = False, **style: Any
    ) -> Any:
        """Fix the places of the ticks, and their labels, without an object for each."""
        if minor or style:
            return super().set_ticks(ticks, labels, minor=minor, **style)
        places = np.asarray(ticks, dtype=np.float64).tolist()
        if places:
            self.set_view_interval(min(places), max(places))
        self.set_major_locator(FixedLocator(places))
        if labels is not None:
            words = dict(zip(places, map(str, labels), strict=True))
            self.set_major_formatter(FuncFormatter(lambda place, _: words.get(place, "")))
        self.axes.stale = True
        return []

    def draw(self, renderer: RendererBase) -> None:
        """Draw marks, tick labels and the axis label."""
        if not self.get_visible():
            return
        places, words = self._in_view()
        style = self.get_tick_params()
        if not self._is_plain(words, style):
            super().draw(renderer)
            return
        reach = 0.0  # how far marks and labels reach from the axes, in pixels
        if style[self.side.near]:
            reach = self._draw_marks(renderer, places, style)
        if style[f"label{self.side.near}"]:
            reach = self._draw_words(renderer, places, words, style)
        self._place_label(reach + self._pixels(self.labelpad))
        self.label.draw(renderer)
        self.stale = False

    def _in_view(self) -> tuple[Array, list[str]]:
        """Return where the ticks within the view are, and their labels."""
        places = np.asarray(self.get_majorticklocs(), dtype=np.float64)
        words = self.get_major_formatter().format_ticks(places.tolist())
        low, high = sorted(self.get_view_interval())
        slack = 1e-10 * (high - low)
        seen = (places >= low - slack) & (places <= high + slack)
        return places[seen], [word for word, kept in zip(words, seen, strict=True) if kept]

    def _is_plain(self, words: Sequence[str], style: Mapping[str, Any]) -> bool:
        """Return whether the axis is of the kind drawn here."""
        return (
            isinstance(self.get_minor_locator(), NullLocator)
            and not self.get_major_formatter().get_offset()
            and not any("\n" in word for word in words)
            and not (style[self.side.far] or style[f"label{self.side.far}"])
        )

    def _draw_marks(self, renderer: RendererBase, places: Array, style: Mapping[str, Any]) -> float:
        """Draw all marks at once, as the library draws those of a line."""
        marker: Any = MarkerStyle(self.side.mark)
        size = self._pixels(style["length"])
        gc = renderer.new_gc()
        gc.set_foreground(style["color"])
        gc.set_linewidth(style["width"])
        gc.set_joinstyle(marker.get_joinstyle())
        gc.set_capstyle(marker.get_capstyle())
        threshold = marker.get_snap_threshold()
        gc.set_snap(None if threshold is None else size >= threshold)
        x, y = self._point(places, np.zeros(places.size))
        renderer.draw_markers(
            gc, marker.get_path(), marker.get_transform().scale(size),
            Path(np.column_stack([x, y])), self._of_axes("transform")("tick1").frozen(),
        )  # fmt: skip
        gc.restore()
        return size

    def _draw_words(
        self,
        renderer: RendererBase,
        places: Array,
        words: Sequence[str],
        style: Mapping[str, Any],
    ) -> float:
        """Draw the tick labels, each placed as the library places one line of text."""
        transform, vertical, horizontal = self._of_axes("text1_transform")(
            style["length"] + style["pad"]
        )
        text = Text(
            fontsize=style["labelsize"], fontfamily=style["labelfontfamily"],
            verticalalignment=vertical, horizontalalignment=horizontal,
        )  # fmt: skip
        text.set_figure(self.axes.figure)
        text.set_transform(transform)
        ascent, descent = _least_heights(text, renderer)
        prop, tall = text.get_fontproperties(), renderer.get_canvas_width_height()[1]
        gc = renderer.new_gc()
        gc.set_foreground(style["labelcolor"])
        points = transform.transform(np.column_stack(self._point(places, np.zeros(places.size))))
        reach, low = 0.0, self.axes.bbox.min[self.side.across]
        for place, (x, y), word in zip(places, points.tolist(), words, strict=True):
            if not word:
                continue
            wide, high, below = renderer.get_text_width_height_descent(word, prop, False)
            above, below = max(high - below, ascent), max(below, descent)
            left = x - (wide if horizontal == "right" else wide / 2)
            base = y - (above if vertical == "top" else above / 2)
            text.set_position(self._point(place, 0.0))
            renderer.draw_text(
                gc, left, tall - base if renderer.flipy() else base, word, prop, 0, False, text
            )
            reach = max(reach, float(low - ((base - below) if self.side.across else left)))
        gc.restore()
        return reach

    def _place_label(self, away: float) -> None:
        """Place the axis label that many pixels from the axes."""
        place = list(self.label.get_position())
        place[self.side.across] = self.axes.bbox.min[self.side.across] - away
        self.label.set_position((place[0], place[1]))

    def _point(self, along: Any, across: Any) -> tuple[Any, Any]:
        """Return coordinates along and square to the axis in the order x, y."""
        return (along, across) if self.side.across else (across, along)

    def _of_axes(self, what: str) -> Any:
        return getattr(self.axes, f"get_{self.axis_name}axis_{what}")

    def _pixels(self, points: float) -> float:
        return points * float(self.axes.figure.dpi) / 72


def _least_heights(like: Text, renderer: RendererBase) -> tuple[float, float]:
    """Return how far a line of that type reaches above and below, in pixels, whatever it says."""
    text = Text(text=".", fontproperties=like.get_fontproperties(), verticalalignment="baseline")
    figure = like.get_figure()
    assert figure is not None
    text.set_figure(figure)
    box = text.get_window_extent(renderer)
    return float(box.y1), float(-box.y0)


class _PlainX(_PlainAxis, XAxis):
    side = _Side("bottom", "top", TICKDOWN, 1)


class _PlainY(_PlainAxis, YAxis):
    side = _Side("left", "right", TICKLEFT, 0)


class Panel(Axes):
    """Axes with lines, ticks and labels below and to the left, drawn at little cost."""

    def _gen_axes_spines(self, *_: Any, **__: Any) -> dict[str, Spine]:
        return {side: Spine.linear_spine(self, side) for side in ("left", "bottom")}

    def get_xaxis_transform(self, which: Any = "grid") -> Transform:
        """Return how x and heights within the axes are placed; there is no line above."""
        return super().get_xaxis_transform("grid" if which == "tick2" else which)

    def get_yaxis_transform(self, which: Any = "grid") -> Transform:
        """Return how y and widths within the axes are placed; there is no line to the right."""
        return super().get_yaxis_transform("grid" if which == "tick2" else which)

    def _init_axis(self) -> None:
        self.xaxis, self.yaxis = _PlainX(self, clear=False), _PlainY(self, clear=False)
        self.spines["bottom"].register_axis(self.xaxis)
        self.spines["left"].register_axis(self.yaxis)
