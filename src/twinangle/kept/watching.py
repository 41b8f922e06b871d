"""Which parts of a value a function reads: what its result depends on, found by watching it."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, cast

Value = TypeVar("Value")
KIND = "?"  # behind a name: what kind of value it is, not what that holds


def watched(value: Value, read: set[str], start: str = "") -> Value:
    """Return a value that is like another and notes which of its fields and properties are read.

    Parameters
    ----------
    value : dataclass
        Frozen; fields that are dataclasses themselves are watched too.
    read : set of str
        The names are put there, those of a field's own fields as "options.confidence", and
        "options?" for what kind of value such a field is.
    start : str
        What goes before each name.

    Notes
    -----
    A function that computes from its arguments alone and gets this in place of `value` gives the
    same whenever the parts noted are the same, as it has seen nothing else. A property is noted as
    such, whatever it rests on.
    """
    kind: Any = type(value)
    names = {each.name for each in fields(kind)}

    class Watched(kind):  # type: ignore[misc]
        __slots__ = ()

        def __getattribute__(self, name: str) -> Any:
            if name == "__class__":  # so that a changed copy is an ordinary value
                return kind
            if name not in names and not isinstance(getattr(kind, name, None), property):
                return super().__getattribute__(name)
            found = getattr(value, name)
            if is_dataclass(found) and not isinstance(found, type):
                read.add(f"{start}{name}{KIND}")  # that it is there may be all that is asked
                return watched(found, read, f"{start}{name}.")
            read.add(start + name)
            return found

    Watched.__name__, Watched.__qualname__ = kind.__name__, kind.__qualname__
    return cast(Value, object.__new__(Watched))


def part_of(value: object, name: str) -> object:
    """Return the part that a name stands for which :func:`watched` noted; None where none is."""
    for each in name.removesuffix(KIND).split("."):
        value = getattr(value, each, None)
    return type(value).__name__ if name.endswith(KIND) else value
