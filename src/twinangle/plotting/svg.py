"""A figure as SVG, in few bytes and at little cost.

The plotting library's own writer gives every mark, line and letter a group, a style of its own and
six decimals. A report's pages are typeset from these files and its page for a browser holds them,
so that each byte is paid for three times. Here what elements share is said once, a path steps from
point to point, numbers end at a hundredth of a point (3.5 µm in print), and only what leaves its
panel is clipped. Text stays text. It is a renderer as the library's documentation of backends
describes it.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_mixed import MixedModeRenderer
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Transform
from PIL import Image

from twinangle.plotting.fonts import SLIM_FAMILY, heights_of, size_of
from twinangle.plotting.svg_paths import hundredths, path_data, path_steps

POINTS_AN_INCH = 72
# Typefaces that other programs know, no wider than the one a figure was laid out with.
_COMMON = ("Verdana", "Arial", "Helvetica", "sans-serif")
_TILE = 12.0  # of a hatch whose marks come in pairs; the library's is six times as wide
_ANCHORS = {"left": (0.0, ""), "center": (0.5, "middle"), "right": (1.0, "end")}
_Colour = Sequence[float]


def svg_of(figure: Figure, *, title: str = "", dpi: int = 300) -> bytes:
    """Return a figure as an SVG file's bytes, the same each time.

    Parameters
    ----------
    figure : Figure
        What to draw.
    title : str
        For those who cannot see it.
    dpi : int
        Of what is drawn as an image in it.
    """
    width, height = (float(side) for side in figure.get_size_inches())
    figure.dpi = POINTS_AN_INCH
    size = POINTS_AN_INCH * width, POINTS_AN_INCH * height
    writer = SvgRenderer(*size, dpi)
    try:
        figure.draw(writer)
    except _ImagesWantedError:
        writer = SvgRenderer(*size, dpi)
        mixed: Any = MixedModeRenderer(figure, width, height, dpi, writer)  # type: ignore[no-untyped-call]
        figure.draw(mixed)
    return writer.document(title).encode("utf-8", errors="replace")


class _ImagesWantedError(Exception):
    """Something is to be drawn as an image, which few figures have: two renderers are needed."""


class SvgRenderer(RendererBase):
    """What a figure draws itself on.

    Parameters
    ----------
    width, height : float
        In points.
    image_dpi : int
        Dots an inch of what is drawn as an image.
    """

    def __init__(self, width: float, height: float, image_dpi: int) -> None:
        super().__init__()
        self.width, self.height, self.image_dpi = width, height, image_dpi
        self._flip = Affine2D().scale(1, -1).translate(0, height)
        self._written: list[str] = []
        self._definitions: dict[str, str] = {}  # id by what is defined
        self._panels = 0
        self._open: list[bool] = []  # whether each group that is open was written

    def document(self, title: str) -> str:
        """Return the whole file."""
        size = f"{_number(self.width)} {_number(self.height)}"
        wide, tall = size.split()
        own = FontProperties()
        defined = "".join(
            body.replace(" ", f' id="{name}" ', 1) for body, name in self._definitions.items()
        )
        return (
            '<?xml version="1.0" encoding="utf-8"?>\n'
            '<svg xmlns="http://www.w3.org/2000/svg" '
            'xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" '
            f'width="{wide}pt" height="{tall}pt" viewBox="0 0 {size}">\n'
            + (f"<title>{_escaped(title)}</title>\n" if title else "")
            + (f"<defs>\n{defined}</defs>\n" if defined else "")
            + f'<g stroke-linejoin="round" font-family="{_families(own.get_family())}" '
            f'font-size="{_number(own.get_size())}">\n' + "".join(self._written) + "</g>\n</svg>\n"
        )

    def open_group(self, s: str, gid: str | None = None) -> None:
        """Begin a group, for panels and what has a name of its own."""
        if gid is None and s == "axes":
            self._panels += 1
            gid = f"axes_{self._panels}"
        self._open.append(gid is not None)
        if gid is not None:
            self._written.append(f'<g id="{_escaped(gid)}">\n')

    def close_group(self, s: str) -> None:
        """End a group."""
        if self._open.pop():
            self._written.append("</g>\n")

    def start_rasterizing(self) -> None:
        """Say that something is to be drawn as an image, which the caller sees to."""
        raise _ImagesWantedError

    def flipy(self) -> bool:
        """Return that y grows downwards."""
        return True

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Return the size in points."""
        return self.width, self.height

    def get_image_magnification(self) -> float:
        """Return pixels of an image a point."""
        return self.image_dpi / POINTS_AN_INCH

    def option_scale_image(self) -> bool:
        """Return that images may be scaled."""
        return True

    def get_text_width_height_descent(
        self, s: str, prop: FontProperties, ismath: Any
    ) -> tuple[float, float, float]:
        """Return the size of a text, in points."""
        return size_of(s, *_key(prop))

    def _get_font_height_metrics(self, prop: FontProperties) -> tuple[float | None, ...]:
        """Return how far the typeface reaches above and below a line, and the gap of lines.

        The library asks for it where a renderer has it, and looks it up at each text otherwise.
        """
        return heights_of(*_key(prop))

    def draw_path(self, gc: Any, path: Path, transform: Transform, rgbFace: Any = None) -> None:
        """Write a path."""
        rgbFace = _face(gc, rgbFace)
        hatch = gc.get_hatch_path()
        line = rgbFace is None and hatch is None
        clean = path.cleaned(
            transform + self._flip, remove_nans=True, curves=True,
            clip=(0.0, 0.0, self.width, self.height) if line else None,
            simplify=path.should_simplify and line,
        )  # fmt: skip
        data, box = path_data(clean)
        if data:
            fill = self._hatched(gc, rgbFace) if hatch is not None else _hex(rgbFace)
            self._path(gc, data, box, self._style(gc, rgbFace, fill))

    def draw_markers(
        self, gc: Any, marker_path: Path, marker_trans: Transform, path: Path, trans: Transform,
        rgbFace: Any = None,
    ) -> None:  # fmt: skip
        """Write a mark at each vertex of a path."""
        rgbFace = _face(gc, rgbFace)
        points = hundredths(np.asarray(path.vertices), trans + self._flip)
        clean = marker_path.cleaned(marker_trans + Affine2D().scale(1, -1), curves=True)
        first, rest, box = path_steps(clean)
        if not (len(points) and rest):
            return
        low, high = points.min(axis=0) / 100, points.max(axis=0) / 100
        around = (low[0] + box[0], low[1] + box[1], high[0] + box[2], high[1] + box[3])
        style = self._style(gc, rgbFace, _hex(rgbFace))
        if len(points) == 1 or (rgbFace is None and _alpha(gc) == 1):
            starts = ((points + first) / 100).tolist()
            data = "".join(f"M{x:g} {y:g}{rest}" for x, y in starts)
            self._path(gc, data, around, style)
            return
        name = self._defined(f'<path d="M{first[0] / 100:g} {first[1] / 100:g}{rest}"{style}/>\n')
        clip = self._clip(gc, around)
        uses = (
            f'<use xlink:href="#{name}" x="{x:g}" y="{y:g}"/>\n' for x, y in (points / 100).tolist()
        )
        self._written += [f"<g{clip}>\n", *uses, "</g>\n"] if clip else uses

    def draw_image(
        self, gc: Any, x: float, y: float, im: Any, transform: Transform | None = None
    ) -> None:
        """Write an image, its first row the lowest."""
        buffer = io.BytesIO()
        Image.fromarray(np.ascontiguousarray(im[::-1])).save(buffer, format="png")
        data = base64.b64encode(buffer.getvalue()).decode()
        high, wide = (side * POINTS_AN_INCH / self.image_dpi for side in im.shape[:2])
        where = f'x="{x:g}" y="{self.height - y - high:g}" width="{wide:g}" height="{high:g}"'
        if transform is not None:
            a, b, c, d, e, f = Affine2D((transform + self._flip).get_matrix()).to_values()
            rows, columns = im.shape[:2]
            where = (
                f'width="{columns}" height="{rows}" transform="matrix('
                + " ".join(f"{each:g}" for each in (a, b, -c, -d, e + c * rows, f + d * rows))
                + ')" preserveAspectRatio="none"'
            )
        self._written.append(
            f'<image xlink:href="data:image/png;base64,{data}" {where}{self._clip(gc, None)}/>\n'
        )

    def draw_text(
        self, gc: Any, x: float, y: float, s: str, prop: FontProperties, angle: float,
        ismath: Any = False, mtext: Any = None,
    ) -> None:  # fmt: skip
        """Write a text, anchored where its owner has put it, so that it stays there if edited."""
        along, anchor = (0.0, "")
        if mtext is not None and (angle == 0 or mtext.get_rotation_mode() == "anchor"):
            along, anchor = _ANCHORS[mtext.get_horizontalalignment()]
        if along:
            reach = along * self.get_text_width_height_descent(s, prop, ismath)[0]
            turned = np.deg2rad(angle)
            x, y = x + reach * float(np.cos(turned)), y - reach * float(np.sin(turned))
        place = f'x="{_number(x)}" y="{_number(y)}"'
        if angle:
            place += f' transform="rotate({-angle:g} {_number(x)} {_number(y)})"'
        said = _font(prop) + (f' text-anchor="{anchor}"' if anchor else "")
        alpha = _alpha(gc)
        said += f' fill="{_hex(gc.get_rgb())}"' + ("" if alpha == 1 else f' opacity="{alpha:g}"')
        clip = self._clip(gc, None)
        text = f"<text {place}{said}>{_escaped(s)}</text>\n"
        self._written.append(f"<g{clip}>{text}</g>\n" if clip else text)

    def _path(self, gc: Any, data: str, box: Sequence[float], style: str) -> None:
        self._written.append(f'<path d="{data}"{style}{self._clip(gc, box)}/>\n')

    def _style(self, gc: Any, face: _Colour | None, fill: str) -> str:
        """Return fill and stroke, as attributes."""
        width, alpha = gc.get_linewidth(), _alpha(gc)
        said = f"fill: {fill}"
        if face is not None and (opaque := alpha if gc.get_forced_alpha() else face[3]) != 1:
            said += f"; fill-opacity: {opaque:g}"
        if width > 0:
            said += f"; stroke: {_hex(gc.get_rgb())}; stroke-width: {width:g}"
            if alpha != 1:
                said += f"; stroke-opacity: {alpha:g}"
            offset, dashes = gc.get_dashes()
            if dashes is not None and any(dashes):
                said += "; stroke-dasharray: " + ",".join(f"{each:g}" for each in dashes)
                said += f"; stroke-dashoffset: {offset:g}" if offset else ""
            if (join := gc.get_joinstyle()) != "round":
                said += f"; stroke-linejoin: {join}"
            if (cap := gc.get_capstyle()) != "butt":
                said += f"; stroke-linecap: {'square' if cap == 'projecting' else cap}"
        return f' style="{said}"'

    def _hatched(self, gc: Any, face: _Colour | None) -> str:
        """Define the pattern of a hatch, and return a fill with it."""
        hatch = gc.get_hatch()
        paired = all(hatch.count(mark) % 2 == 0 for mark in hatch)
        side = _TILE if paired else 6 * _TILE
        marks = gc.get_hatch_path(1.0 if paired else 6.0)
        data, _ = path_data(
            marks.cleaned(Affine2D().scale(side, -side).translate(0, side), curves=True)
        )
        colour = to_hex(gc.get_hatch_color())
        below = f'<path d="M0 0h{side:g}v{side:g}h{-side:g}z" fill="{_hex(face)}"/>'
        name = self._defined(
            f'<pattern patternUnits="userSpaceOnUse" width="{side:g}" height="{side:g}">'
            f'{below}<path d="{data}" fill="{colour}" stroke="{colour}" '
            f'stroke-width="{gc.get_hatch_linewidth():g}" stroke-linejoin="miter" '
            'stroke-linecap="square"/></pattern>\n'
        )
        return f"url(#{name})"

    def _clip(self, gc: Any, box: Sequence[float] | None) -> str:
        """Return what clips something that takes up a box, points from the upper left, if need be.

        Without a box it is always clipped.
        """
        path, transform = gc.get_clip_path()
        if path is not None:
            data, _ = path_data(path.cleaned(transform + self._flip, curves=True))
        elif (rectangle := gc.get_clip_rectangle()) is not None:
            left, bottom, right, top = rectangle.extents
            upper, lower = self.height - top, self.height - bottom
            more = gc.get_linewidth() / 2
            if box is not None and (
                left <= box[0] - more and box[2] + more <= right
                and upper <= box[1] - more and box[3] + more <= lower
            ):  # fmt: skip
                return ""
            data = (
                f"M{_number(left)} {_number(upper)}H{_number(right)}V{_number(lower)}"
                f"H{_number(left)}z"
            )
        else:
            return ""
        name = self._defined(f'<clipPath ><path d="{data}"/></clipPath>\n')
        return f' clip-path="url(#{name})"'

    def _defined(self, body: str) -> str:
        """Return the id of what is defined once and shown where it is mentioned."""
        return self._definitions.setdefault(body, f"d{len(self._definitions) + 1}")


@lru_cache(maxsize=256)
def _hex_of(colour: tuple[float, float, float]) -> str:
    return to_hex(colour)


def _hex(colour: _Colour | None) -> str:
    if colour is None:
        return "none"
    red, green, blue = colour[:3]
    return _hex_of((float(red), float(green), float(blue)))


def _face(gc: Any, face: _Colour | None) -> _Colour | None:
    """Return a colour to fill with; None for one that cannot be seen."""
    unseen = face is not None and len(face) > 3 and face[3] == 0 and not gc.get_forced_alpha()
    return None if unseen else face


def _alpha(gc: Any) -> float:
    """Return how opaque lines and letters are."""
    return float(gc.get_alpha() if gc.get_forced_alpha() else gc.get_rgb()[3])


def _number(value: float) -> str:
    return f"{round(100 * value) / 100:g}"


def _escaped(text: str) -> str:
    for character, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(character, entity)
    return text


def _key(prop: FontProperties) -> tuple[tuple[str, ...], float, Any, str]:
    return (
        tuple(prop.get_family()), prop.get_size_in_points(), prop.get_weight(), prop.get_style()
    )  # fmt: skip


def _font(prop: FontProperties) -> str:
    """Return what of a text's typeface differs from the figure's own, as attributes."""
    return _font_of(*_key(prop), *_key(FontProperties()))


@lru_cache(maxsize=256)
def _font_of(
    family: tuple[str, ...], size: float, weight: Any, slant: str,
    own_family: tuple[str, ...], own_size: float, *_: Any,
) -> str:  # fmt: skip
    said = "" if family == own_family else f' font-family="{_families(family)}"'
    said += "" if size == own_size else f' font-size="{_number(size)}"'
    said += "" if weight in ("normal", "regular", 400) else f' font-weight="{weight}"'
    return said + ("" if slant == "normal" else f' font-style="{slant}"')


def _families(family: Sequence[str]) -> str:
    """Return typefaces by name: the whole one in the place of its part, and common ones behind.

    A journal or a co-author can edit the text; the common ones are no wider than the one a figure
    was laid out with.
    """
    names = [f"'{name}'" for name in family if name != SLIM_FAMILY]
    return _escaped(", ".join([*names, *_COMMON]))
