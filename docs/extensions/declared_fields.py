"""The fields of a result in the reference of the Python interface, from where they are declared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import is_dataclass
from typing import Any

from sphinx.application import Sphinx

from twinangle.declare import DATA, DATA_SQUARED, declared, derived

UNITS = {DATA: "unit of what is compared", DATA_SQUARED: "its square"}


def _attributes(owner: type[Any]) -> Iterator[str]:
    for item in (*declared(owner), *derived(owner)):
        if item.quantity.meaning:
            unit = item.quantity.unit
            yield f"{item.name} : {UNITS.get(unit, unit) or 'no unit'}"
            yield f"    {item.quantity.meaning}"


def _say_fields(
    app: Sphinx, what: str, name: str, owner: Any, options: object, lines: list[str]
) -> None:
    """Add what is declared of a class's fields to its docstring, before numpydoc reads it."""
    if what == "class" and is_dataclass(owner) and "Attributes" not in lines:
        try:
            said = list(_attributes(owner))
        except NameError:  # types that only a type checker imports: no result, nothing declared
            return
        if said:
            lines += ["", "Attributes", "----------", *said, ""]


def _leave_out_fields(
    app: Sphinx, what: str, name: str, member: Any, skip: bool, options: object
) -> bool | None:
    """Leave out what is no method and no property: fields are told where the class is."""
    if what == "class" and not (callable(member) or isinstance(member, property)):
        return True
    return None


def setup(app: Sphinx) -> dict[str, bool]:
    """Listen before numpydoc does."""
    app.connect("autodoc-process-docstring", _say_fields, priority=400)
    app.connect("autodoc-skip-member", _leave_out_fields)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
