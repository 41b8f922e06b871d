r"""Characters that steer a terminal or turn the direction of writing, shown as such.

A title or a participant's code may come from somebody else. Control characters (escape sequences
among them) and those that turn the direction of writing (Unicode Standard Annex 9, 2.1 to 2.4 and
2.6) could recolour a terminal, hide text, or make a name read as another. Where text is shown they
stand as their code, such as `\x1b` or `\u202e`; `results.json` keeps them, escaped as JSON does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from operator import is_
from types import NoneType
from typing import Any, TypeVar, cast

from twinangle.notices import reworded

Value = TypeVar("Value")
_WITHOUT_TEXT = frozenset((float, int, bool, NoneType))  # most values: looked at no further

# C0 and C1 controls, the line and paragraph separators, marks, embeddings, overrides and isolates
# of direction, the byte order mark, and halves of surrogate pairs.
_ODD = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


def make_visible(text: str, *, keep: str = "") -> str:
    """Return text with every odd character as its code.

    Parameters
    ----------
    text : str
        Of any origin.
    keep : str
        Odd characters that are meant, such as the line end of a message.
    """
    if _ODD.search(text) is None:
        return text
    return _ODD.sub(lambda found: _shown(found[0], keep), text)


def _shown(character: str, keep: str) -> str:
    if character in keep:
        return character
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def visible_texts(value: Value) -> Value:
    """Return a value of frozen dataclasses, tuples and mappings with every text made visible.

    What holds no odd character is returned as it is, the same object.
    """
    return cast(Value, _visible(value))


def _visible(value: Any) -> Any:
    if type(value) in _WITHOUT_TEXT:
        return value
    if isinstance(value, str):
        shown = make_visible(value)
        return value if shown is value else reworded(value, shown)
    if is_dataclass(value) and not isinstance(value, type):
        changed = {
            name: new
            for name in _names(type(value))
            if (new := _visible(old := getattr(value, name))) is not old
        }
        return replace(value, **changed) if changed else value
    if isinstance(value, tuple | list):
        new_items = [_visible(item) for item in value]
        same = all(map(is_, new_items, value))
        return value if same else type(value)(new_items)
    if isinstance(value, Mapping):
        pairs = {_visible(key): _visible(item) for key, item in value.items()}
        same = all(key in pairs and pairs[key] is item for key, item in value.items())
        return value if same else pairs
    return value


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind) if each.init)
