"""A table: rows of one declared kind, and the columns that follow from the declaration.

A field is a column under the key its unit gives (`offset_deg`); an interval is two, the value's
beside it: `offset_ci` becomes `offset_ci_low_deg` and `offset_ci_high_deg`, and a field called
`ci` is the interval of `value`, as `low` and `high`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, make_dataclass, replace
from functools import cache
from operator import attrgetter
from types import NoneType
from typing import Annotated, Any, Literal, TypeVar, cast, get_args, get_origin

from twinangle.declare import (
    DATA,
    DATA_SQUARED,
    NUMBER,
    UNDER_TEST,
    Declared,
    declared,
    key_of,
)
from twinangle.results.model import StudyResults
from twinangle.results.trial_result import TrialResult

Row = TypeVar("Row")
Interval = tuple[float, float]
NAN = math.nan
_NOWHERE = object()
NO_INTERVAL: Interval = (NAN, NAN)
DATA_UNIT = "deg"
KINDS = {str: "string", float: "number", int: "integer", bool: "boolean"}
ENDS = ("low", "high")
PARTS = ("wearable", "procedure", "reference_name")
_PART_MEANINGS = {
    "wearable": "name of the wearable",
    "reference_name": "name of the reference that it is held against",
}
SHOWN = {DATA: DATA_UNIT, DATA_SQUARED: f"{DATA_UNIT}2", NUMBER: "1", "hz": "Hz"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
        As it stands in the head.
    kind : str
        "string", "number", "integer" or "boolean": types of the Table Schema.
    unit : str
        Of its numbers; "1" for none, empty for what is no number, "column unit" where each row
        says its own.
    meaning : str
        A phrase for the data dictionary.
    field : str
        The row's field.
    end : int or None
        0 and 1 for the two ends of an interval.
    part : int or None
        Which part of a name that is made of several.
    further : bool
        Whether the column is there only where a study has several of what it names.
    """

    name: str
    kind: str
    unit: str
    meaning: str
    field: str
    end: int | None = None
    part: int | None = None
    further: bool = False

    def of(self, row: Any) -> Any:
        """Return the cell of a row."""
        return self.values((row,))[0]

    def values(self, rows: Iterable[Any]) -> list[Any]:
        """Return the cells of several rows."""
        found = list(map(attrgetter(self.field), rows))
        if self.part is not None:
            split = {name: UNDER_TEST.split(name)[self.part] for name in set(found)}
            return [split[name] for name in found]
        return found if self.end is None else [ends[self.end] for ends in found]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the output: its name, what one row is, and the function that yields the rows."""

    name: str
    meaning: str
    row: type
    rows: Callable[[Any], Iterable[Any]]

    def rows_in(self, results: StudyResults) -> Iterable[Any]:
        """Return the rows of a study."""
        return self.rows(results)

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns that every study has, in order."""
        return columns_of(self.row)

    def columns_in(self, results: StudyResults) -> tuple[Column, ...]:
        """Return the columns, in order, with those that a study of several instruments needs."""
        return columns_of(self.row, further_columns(results.trials))


class TrialTable(Table):
    """A table whose rows say of each trial what that trial alone says: `rows` takes trials."""

    __slots__ = ()

    def rows_in(self, results: StudyResults) -> Iterable[Any]:
        """Return the rows of a study."""
        return self.rows(results.trials)


def further_columns(trials: Iterable[TrialResult]) -> frozenset[str]:
    """Return the names of the further columns that trials need: of several instruments."""
    named = [UNDER_TEST.split(trial.procedure) for trial in trials]
    return frozenset(
        name
        for k, name in enumerate(PARTS)
        if name != "procedure" and any(parts[k] for parts in named)
    )


@cache
def columns_of(row: type, further: frozenset[str] = frozenset()) -> tuple[Column, ...]:
    """Return the columns of a kind of row, in the order of its fields.

    `further` names those of a study of several instruments that are to be among them.

    Raises
    ------
    TypeError
        If a field is of a kind that no column can hold, or says no meaning.
    """
    fields = declared(row)
    own_unit = any(item.name == "unit" for item in fields)
    every = [column for item in fields for column in _columns(item)]
    found = [one for one in every if not one.further or one.name in further]
    if own_unit:
        found = [
            replace(one, unit="column unit")
            if one.field in ("value", "ci", "limit", "without")
            else one
            for one in found
        ]
    return tuple(found)


def _columns(item: Declared) -> Iterator[Column]:
    unit, meaning = item.quantity.unit, item.quantity.meaning
    if not meaning:
        raise TypeError(f"the column `{item.name}` says no meaning.")
    shown = SHOWN.get(unit, unit)
    if item.hint == Interval:
        for k, end in enumerate(ENDS):
            name = end if item.name == "ci" else key_of(f"{item.name}_{end}", unit, DATA_UNIT)
            side = ("lower", "upper")[k]
            yield Column(name, "number", shown, f"{side} end of {meaning}", item.name, k)
        return
    if item.joined is not None:
        for k, name in enumerate(PARTS):
            said = meaning if name == item.name else _PART_MEANINGS[name]
            yield Column(name, "string", "", said, item.name, None, k, name != item.name)
        return
    hint = str if get_origin(item.hint) is Literal else item.hint
    kinds = [each for each in get_args(hint) if each is not NoneType] or [hint]
    if len(kinds) != 1 or kinds[0] not in KINDS:
        raise TypeError(f"the column `{item.name}` cannot hold a {item.hint}.")
    kind = KINDS[kinds[0]]
    shown = shown if kind in ("number", "integer") else ""
    further = item.where_given is not None
    name = key_of(item.name, unit, DATA_UNIT)
    yield Column(name, kind, shown, meaning, item.name, further=further)


def row_kind(name: str, base: type, result: type, fields: str) -> type[Any]:
    """Return a kind of row: what names it, then fields of a result as they are declared there.

    Parameters
    ----------
    name : str
        Of the kind.
    base : type
        A kind of row with the fields that name it.
    result : type
        A dataclass with declared fields.
    fields : str
        Those that are columns, in order, with blanks between.
    """
    known = {item.name: Annotated[item.hint, item.quantity] for item in declared(result)}
    columns = [(field, known[field]) for field in fields.split()]
    return make_dataclass(name, columns, bases=(base,), frozen=True, slots=True)


def row_of(kind: type[Row], /, *sources: Any, **given: Any) -> Row:
    """Return a row whose fields are those given, else those of the first source that has them.

    Parameters
    ----------
    kind : type
        A kind of row.
    *sources : object or dict
        Results; a field that none of them has is an error.
    **given
        Fields by name, before those of the sources.
    """
    every, own = (given, *sources), cast("type", kind)
    return kind(*[_found(name, every) for name in _fields(own)])


@cache
def _fields(kind: type) -> tuple[str, ...]:
    return tuple(item.name for item in declared(kind))


def _found(name: str, sources: tuple[Any, ...]) -> Any:
    for source in sources:
        if type(source) is dict:
            if name in source:
                return source[name]
        elif (value := getattr(source, name, _NOWHERE)) is not _NOWHERE:
            return value
    raise AttributeError(f"no source of the row has `{name}`.")
