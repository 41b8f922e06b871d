"""What a field of a result is: its unit and its meaning, said once where the field is declared.

Keys of `results.json`, columns of tables, the data dictionary and reading back all follow from it::

    @dataclass(frozen=True)
    class Spread:
        sd: Annotated[float, data("SD over cycles, averaged over the points")]
        n_cycles: Annotated[int, number("cycles seen")]

An interval that says nothing, `sd_ci: Interval`, is that of `sd`, in its unit.
A property whose return is so declared is written beside the fields, and not read back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Annotated, Any, TypeVar, get_args, get_origin, get_type_hints

from twinangle.under_test import parts_of, under_test

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


def data(meaning: str) -> Quantity:
    """Declare a quantity in the unit of what is compared."""
    return Quantity(DATA, meaning)


def squared(meaning: str) -> Quantity:
    """Declare a quantity in the square of the unit of what is compared."""
    return Quantity(DATA_SQUARED, meaning)


def number(meaning: str) -> Quantity:
    """Declare a count, ratio or probability, or a text: what has no unit."""
    return Quantity(NUMBER, meaning)


def measured(unit: str, meaning: str) -> Quantity:
    """Declare a quantity in a unit of its own, such as "s"."""
    return Quantity(unit, meaning)


@dataclass(frozen=True, slots=True)
class InUnit:
    """A part whose values are in another unit than the whole's, such as logarithms of them.

    Parameters
    ----------
    data_unit : str
        What `DATA` stands for within the part; empty for none.
    """

    data_unit: str


@dataclass(frozen=True, slots=True)
class Named:
    """The key of a field where it is not the field's name.

    Parameters
    ----------
    key : str
        The whole key, unit included.
    """

    key: str


@dataclass(frozen=True, slots=True)
class Aside:
    """A field that is kept elsewhere, as a table of its own: neither written here nor read.

    Parameters
    ----------
    empty : object
        What stands in its place until it is read from there.
    """

    empty: Any = None


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
    spread: Spread | None = None
    unit: InUnit | None = None
    aside: Aside | None = None
    named: Named | None = None
    joined: Joined | None = None
    where_given: WhereGiven | None = None


@dataclass(frozen=True, slots=True)
class Joined:
    """A name made of several, each of which is written under a key of its own.

    Only the part called as the field is always written; a part that is empty is left out.

    Parameters
    ----------
    parts : tuple of str
        The keys, in the order in which `split` returns the parts.
    split, join : callable
        From the name to its parts, and back.
    """

    parts: tuple[str, ...]
    split: Callable[[str], tuple[str, ...]]
    join: Callable[..., str]


@dataclass(frozen=True, slots=True)
class WhereGiven:
    """A field that most results do not have: left out where it is empty, and then read so.

    Parameters
    ----------
    empty : object
        What it is then.
    """

    empty: Any = None


UNDER_TEST = Joined(("device", "procedure", "reference_name"), parts_of, under_test)
Said = TypeVar("Said")
UNDECLARED = Quantity(NUMBER, "")


@cache
def declared(owner: type[Any]) -> tuple[Declared, ...]:
    """Return the fields of a dataclass with what is declared of each, in order."""
    hints = get_type_hints(owner, include_extras=True)
    found = {item.name: _declared(item.name, hints[item.name]) for item in fields(owner)}
    return tuple(_with_meaning(item, found) for item in found.values())


@cache
def derived(owner: type[Any]) -> tuple[Declared, ...]:
    """Return the properties of a class of which a quantity is declared, in order."""
    found = []
    for name, each in vars(owner).items():
        if isinstance(each, property) and each.fget is not None:
            hint = get_type_hints(each.fget, include_extras=True).get("return")
            item = _declared(name, hint)
            if item.quantity is not UNDECLARED:
                found.append(item)
    return tuple(found)


def _with_meaning(item: Declared, found: Mapping[str, Declared]) -> Declared:
    """Return an interval that says nothing of itself as that of its value: `x_ci` of `x`."""
    of = found.get("value" if item.name == "ci" else item.name.removesuffix("_ci"))
    if of is None or of is item or item.quantity is not UNDECLARED:
        return item
    meaning = f"the interval of the {of.quantity.meaning.split(';')[0].removeprefix('the ')}"
    return replace(item, quantity=Quantity(of.quantity.unit, meaning))


def _declared(name: str, hint: Any) -> Declared:
    said: tuple[Any, ...] = ()
    if get_origin(hint) is Annotated:
        hint, *extras = get_args(hint)
        said = tuple(extras)
    return Declared(
        name,
        hint,
        _first(said, Quantity) or UNDECLARED,
        _first(said, Spread),
        _first(said, InUnit),
        _first(said, Aside),
        _first(said, Named),
        _first(said, Joined),
        _first(said, WhereGiven),
    )


def declared_of(said: Iterable[object]) -> Quantity:
    """Return the quantity among what is said of a field; one without unit and meaning if none."""
    return _first(tuple(said), Quantity) or UNDECLARED


def _first(said: tuple[Any, ...], kind: type[Said]) -> Said | None:
    return next((each for each in said if isinstance(each, kind)), None)


@cache
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
    short = unit.replace("/", "_")  # `bias_deg_s` says deg/s as well as `bias_deg_per_s`
    unit = unit.replace("/", "_per_").replace("%", "percent")
    says_it = name == unit or name.endswith((f"_{unit}", f"_{short}"))
    return name if not unit or says_it else f"{name}_{unit}"


def undeclared(owner: type) -> Iterator[str]:
    """Yield the fields of a dataclass of which neither unit nor meaning is said."""
    for item in declared(owner):
        if item.quantity is UNDECLARED and item.spread is None and item.aside is None:
            yield item.name
