"""What a field of a result is: its unit and its meaning, said once where the field is declared.

Keys of `results.json`, columns of tables, the data dictionary and reading back all follow from it::

    @dataclass(frozen=True)
    class Spread:
        sd: Annotated[float, Quantity(DATA, "SD over cycles, averaged over the points")]
        n_cycles: Annotated[int, Quantity(NUMBER, "cycles seen")]
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache
from typing import Annotated, Any, get_args, get_origin, get_type_hints

DATA = "data"  # the unit of what is compared: degrees in a study of angles
DATA_SQUARED = "data²"
NUMBER = ""  # counts, ratios, correlations, probabilities; texts as well


@dataclass(frozen=True, slots=True)
class Quantity:
    """Unit and meaning of a field.

    Parameters
    ----------
    unit : str
        Ends the field's key, such as "s", "Hz", "ppm", "deg"; `DATA` and `DATA_SQUARED` stand for
        the unit of the values compared and its square; `NUMBER` for none.
    meaning : str
        A phrase that can stand alone in a data dictionary.
    """

    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Spread:
    """A part whose fields stand among those of the whole, behind a prefix.

    Parameters
    ----------
    prefix : str
        With its underscore; empty for none.
    """

    prefix: str = ""


@dataclass(frozen=True, slots=True)
class Declared:
    """One field as declared: its name, its type without annotations, and what is said of it."""

    name: str
    hint: Any
    quantity: Quantity
    spread: Spread | None


UNDECLARED = Quantity(NUMBER, "")


@cache
def declared(owner: type[Any]) -> tuple[Declared, ...]:
    """Return the fields of a dataclass with what is declared of each, in order."""
    hints = get_type_hints(owner, include_extras=True)
    return tuple(_declared(item.name, hints[item.name]) for item in fields(owner))


def _declared(name: str, hint: Any) -> Declared:
    said: tuple[Any, ...] = ()
    if get_origin(hint) is Annotated:
        hint, *extras = get_args(hint)
        said = tuple(extras)
    quantity = next((each for each in said if isinstance(each, Quantity)), UNDECLARED)
    spread = next((each for each in said if isinstance(each, Spread)), None)
    return Declared(name, hint, quantity, spread)


def key_of(name: str, unit: str, data_unit: str) -> str:
    """Return the key under which a field is written: `offset_deg`, `ratio`.

    Parameters
    ----------
    name : str
        The field's.
    unit : str
        As declared.
    data_unit : str
        What `DATA` stands for: "deg" in a study of angles.
    """
    if unit == DATA:
        unit = data_unit
    elif unit == DATA_SQUARED:
        unit = f"{data_unit}2"
    unit = unit.replace("/", "_per_").replace("%", "percent")
    says_it = name == unit or name.endswith(f"_{unit}")
    return name if not unit or says_it else f"{name}_{unit}"


def undeclared(owner: type) -> Iterator[str]:
    """Yield the fields of a dataclass of which neither unit nor meaning is said."""
    for item in declared(owner):
        if item.quantity is UNDECLARED and item.spread is None:
            yield item.name


def data(meaning: str) -> Quantity:
    """Declare a number in the unit of the values compared."""
    return Quantity(DATA, meaning)


def squared(meaning: str) -> Quantity:
    """Declare a number in the square of that unit."""
    return Quantity(DATA_SQUARED, meaning)


def number(meaning: str) -> Quantity:
    """Declare a number without a unit, or a text."""
    return Quantity(NUMBER, meaning)


def measured(unit: str, meaning: str) -> Quantity:
    """Declare a number in a unit of its own."""
    return Quantity(unit, meaning)
