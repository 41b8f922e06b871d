"""A study seen from another machine: the same values with the folder exchanged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

Value = TypeVar("Value")


def moved(value: Value, old: Path, new: Path) -> Value:
    """Return a value with every path below one folder put below another.

    Parameters
    ----------
    value : object
        A frozen dataclass, tuple, mapping or path, nested as may be; anything else is returned
        as it is.
    old, new : Path
        The folders.

    Returns
    -------
    object
        Of the type of `value`; paths outside `old` stay as they are.
    """
    return _moved(value, old, new)  # type: ignore[no-any-return]


def _moved(value: Any, old: Path, new: Path) -> Any:
    if isinstance(value, Path):
        return new / value.relative_to(old) if value.is_relative_to(old) else value
    if type(value) is tuple:
        return tuple(_moved(each, old, new) for each in value)
    if isinstance(value, Mapping):
        return {key: _moved(each, old, new) for key, each in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        held = ((field.name, getattr(value, field.name)) for field in fields(value) if field.init)
        changed = {
            name: new_value
            for name, old_value in held
            if (new_value := _moved(old_value, old, new)) is not old_value
            and new_value != old_value
        }
        return replace(value, **changed) if changed else value
    return value
