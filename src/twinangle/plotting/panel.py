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
from matplotlib.lines import Line2D
from matplotlib.markers import TICKDOWN, TICKLEFT
from matplotlib.text import Text
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

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
        """Draw all marks as the markers of one line."""
        line = Line2D(
            *self._point(places, np.zeros(places.size)),
            linestyle="", marker=self.side.mark, markersize=style["length"],
            markeredgewidth=style["width"], markeredgecolor=style["color"],
        )  # fmt: skip
        line.set_figure(self.axes.figure)
        line.set_transform(self._of_axes("transform")("tick1"))
        line.draw(renderer)
        return self._pixels(style["length"])

    def _draw_words(
        self,
        renderer: RendererBase,
        places: Array,
        words: Sequence[str],
        style: Mapping[str, Any],
    ) -> float:
        """Draw the tick labels, each with the same text."""
        pad = style["length"] + style["pad"]
        transform, vertical, horizontal = self._of_axes("text1_transform")(pad)
        text = Text(
            fontsize=style["labelsize"], color=style["labelcolor"],
            fontfamily=style["labelfontfamily"],
            verticalalignment=vertical, horizontalalignment=horizontal,
        )  # fmt: skip
        text.set_figure(self.axes.figure)
        text.set_transform(transform)
        reach, across = 0.0, self.side.across
        for place, word in zip(places, words, strict=True):
            text.set_position(self._point(place, 0.0))
            text.set_text(word)
            text.draw(renderer)
            if reach and across:
                continue  # below the axes, all labels reach equally far
            edge = text.get_window_extent(renderer).min[across]
            reach = max(reach, float(self.axes.bbox.min[across] - edge))
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


class _PlainX(_PlainAxis, XAxis):
    side = _Side("bottom", "top", TICKDOWN, 1)


class _PlainY(_PlainAxis, YAxis):
    side = _Side("left", "right", TICKLEFT, 0)


class Panel(Axes):
    """Axes with ticks and labels below and to the left, drawn at little cost."""

    def _init_axis(self) -> None:
        self.xaxis, self.yaxis = _PlainX(self, clear=False), _PlainY(self, clear=False)
        for name, axis in zip(
            ("bottom", "top", "left", "right"),
            (self.xaxis, self.xaxis, self.yaxis, self.yaxis),
            strict=True,
        ):
            self.spines[name].register_axis(axis)
