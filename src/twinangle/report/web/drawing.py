"""A figure's SVG made fit to stand in a page beside others: no id twice, no style of its own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree as ET

from twinangle.report.web.markup import escaped

_SPACE = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_MENTION = re.compile(r"url\(#([\w-]+)\)")
# Characters that no XML document may hold, though a name may.
_NOT_OF_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_LEFT_OUT = {f"{_SPACE}metadata", f"{_SPACE}style", f"{_SPACE}title"}


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
            A document of `plotting.svg`.
        label : str
            A sentence.
        """
        self._figures += 1
        root = ET.fromstring(_NOT_OF_XML.sub("\ufffd", svg))
        mentioned = set(_mentions(root))
        inner = "".join(self._written(child, mentioned) for child in root)
        box = root.get("viewBox", "")
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
                style = self._renamed(value)
                found["class"] = self._classes.setdefault(style, f"s{len(self._classes)}")
            elif key == _LINK:
                found["href"] = f"#{self._own(value[1:])}"
            else:
                found[key] = self._renamed(value)
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
