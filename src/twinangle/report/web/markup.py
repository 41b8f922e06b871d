"""Text to HTML: the one place where something becomes markup."""

from __future__ import annotations

import html
import json
import re
from typing import Any

from twinangle.visible import make_visible

ZERO_WIDTH_SPACE = "\u200b"
NO_BREAK_SPACE = "\u00a0"
_KEY = re.compile("`([A-Za-z_][^`]*)`")  # a key of the study file, as texts name it


def escaped(text: str) -> str:
    """Return text that a browser shows as it is, between tags and within quoted attributes.

    Characters that steer or turn the direction of writing are shown as their codes.
    """
    return html.escape(make_visible(text, keep="\n"), quote=True)


def phrase(text: str) -> str:
    """Return escaped text to stand between tags, where a long name may break.

    A key of the study file stands in a typeface of its own. What lets it break,
    and what holds a number together, are left to the page, so that a copy
    holds the text alone.
    """
    plain = escaped(text).replace(NO_BREAK_SPACE, " ")
    return _KEY.sub(r"<code>\1</code>", plain).replace(ZERO_WIDTH_SPACE, "<wbr>")


def element(name: str, inner: str, **attributes: str) -> str:
    """Return an element around markup; an underscore in an attribute's name is a hyphen.

    Values of attributes are escaped here, `inner` was before. `class_` is `class`.
    """
    return f"<{name}{_written(attributes)}>{inner}</{name}>"


def _written(attributes: dict[str, str]) -> str:
    pairs = [
        (name.rstrip("_").replace("_", "-"), escaped(value).replace(ZERO_WIDTH_SPACE, ""))
        for name, value in attributes.items()
    ]
    return "".join(f' {name}="{value}"' for name, value in pairs)


def as_data(value: Any) -> str:
    """Return JSON to stand within a script element, which nothing in it can close."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
