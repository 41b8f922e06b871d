"""A figure's SVG made fit to stand in a page beside others: few bytes, no id twice, no style."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree as ET

from twinangle.report.web.markup import escaped

_SPACE = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_LONG = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
_MENTION = re.compile(r"url\(#([\w-]+)\)")
# Characters that no XML document may hold, though a name may.
_NOT_OF_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_LEFT_OUT = {f"{_SPACE}metadata", f"{_SPACE}style", f"{_SPACE}title"}
_NUMERIC = {"d", "x", "y", "width", "height", "transform", "points", "viewBox"}
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")


class Drawings:
    """The figures of one page; they share the classes that stand for their styles."""

    def __init__(self) -> None:
        self._classes: dict[str, str] = {}
        self._figures = 0

    def fitted(self, svg: str, label: str) -> str:
        """Return a figure's markup, named for those who cannot see it.

        Parameters
        ----------
        svg : str
            A document of the plotting library's.
        label : str
            A sentence.
        """
        self._figures += 1
        root = ET.fromstring(_NOT_OF_XML.sub("\ufffd", svg))
        mentioned = set(_mentions(root))
        inner = "".join(self._written(child, mentioned) for child in root)
        box = _rounded(root.get("viewBox", ""))
        return f'<svg role="img" aria-label="{escaped(label)}" viewBox="{box}">{inner}</svg>'

    def styles(self) -> str:
        """Return the style sheet of all figures so far."""
        return "".join(f".{name}{{{style}}}\n" for style, name in self._classes.items())

    def _written(self, node: ET.Element, mentioned: set[str]) -> str:
        if node.tag in _LEFT_OUT:
            return ""
        name = node.tag.removeprefix(_SPACE)
        attributes = self._attributes(node, mentioned)
        inner = escaped(node.text or "") if name in ("text", "tspan") else ""
        inner += "".join(self._written(child, mentioned) for child in node)
        if name in ("g", "defs") and not inner:
            return ""
        if name == "g" and not attributes:
            return inner
        written = "".join(f' {key}="{escaped(value)}"' for key, value in attributes.items())
        return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"

    def _attributes(self, node: ET.Element, mentioned: set[str]) -> dict[str, str]:
        """Return what of an element's attributes is needed, as it stands in a page."""
        found: dict[str, str] = {}
        for key, value in node.attrib.items():
            if key == "id":
                if value in mentioned:
                    found["id"] = self._own(value)
            elif key == "style":
                dots = _dots(node.get("d", ""))
                style = _as_strokes(value, dots[0][2]) if dots else self._renamed(value)
                found["class"] = self._classes.setdefault(style, f"s{len(self._classes)}")
            elif key == _LINK:
                found["href"] = f"#{self._own(value[1:])}"
            elif key == "d":
                found["d"] = _path(value)
            elif not (key == "transform" and value.startswith("rotate(-0 ")):
                found[key] = _rounded(value) if key in _NUMERIC else self._renamed(value)
        return found

    def _renamed(self, value: str) -> str:
        """Return a style or attribute that points to the figure's own ids."""
        return _MENTION.sub(lambda mention: f"url(#{self._own(mention[1])})", value)

    def _own(self, name: str) -> str:
        return f"f{self._figures}-{name}"


def _mentions(root: ET.Element) -> Iterator[str]:
    """Yield the ids that something in the figure points to."""
    for node in root.iter():
        for key, value in node.attrib.items():
            if key == _LINK:
                yield value.removeprefix("#")
            else:
                yield from _MENTION.findall(value)


def _rounded(text: str) -> str:
    """Return text with its numbers to a hundredth of a point."""
    return _LONG.sub(lambda found: _short(float(found[0])), text)


def _short(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _path(data: str) -> str:
    """Return a path's data, short; many dots as strokes of no length."""
    dots = _dots(data)
    if dots:
        return "".join(f"M{_short(x)} {_short(y)}h0" for x, y, _ in dots)
    return " ".join(_rounded(data).split())


def _dots(data: str) -> list[tuple[float, float, float]]:
    """Return middle and width of every dot of a path that is nothing but many dots, else none.

    A dot is a circle of eight curves, as the plotting library writes it in a pattern.
    """
    parts = [part for part in data.split("z") if part.strip()] if data.count("z") > 50 else []
    found = []
    for part in parts:
        if part.count("C") != 8:
            return []
        numbers = [float(each) for each in _NUMBER.findall(part)]
        xs, ys = numbers[::2], numbers[1::2]
        middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        found.append((*middle, max(ys) - min(ys)))
    return found


def _as_strokes(style: str, width: float) -> str:
    """Return the style under which strokes of no length look like dots, filled and outlined."""
    stated = dict(part.strip().split(": ") for part in style.split(";") if part.strip())
    across = width + float(stated.get("stroke-width", 0.0))
    colour = stated.get("fill", "#222222")
    return f"fill: none; stroke: {colour}; stroke-width: {across:.2f}; stroke-linecap: round"
