"""Results to plain values and back, by what their fields declare: one rule, no list of keys.

A number that does not exist (NaN) is written as null. A value of a kind that has no rule is an
error, so that nothing is dropped unseen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, is_dataclass
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np

from twinangle.declare import Declared, declared, key_of

Plain = Any  # dict, list, str, int, float, bool or None


@dataclass(frozen=True, slots=True)
class Keys:
    """Writes and reads dataclasses under the keys that their declarations give.

    Parameters
    ----------
    data_unit : str
        The unit of the values compared, which ends the keys of fields declared in `DATA`.
    """

    data_unit: str = "deg"

    def key(self, item: Declared) -> str:
        """Return the key under which a field is written."""
        return key_of(item.name, item.quantity.unit, self.data_unit)

    def keys_of(self, owner: type) -> tuple[str, ...]:
        """Return every key of a dataclass, those of its spread parts among them, in order."""
        keys: list[str] = []
        for item in declared(owner):
            if item.spread is None:
                keys.append(self.key(item))
            else:
                part = _required(item.hint)
                keys += [f"{item.spread.prefix}{key}" for key in self.keys_of(part)]
        return tuple(keys)

    def write(self, value: Any) -> Plain:
        """Return `value` built of dict, list, str, int, float, bool and None only.

        Raises
        ------
        TypeError
            If it holds a value of a kind that has no rule.
        """
        if is_dataclass(value) and not isinstance(value, type):
            return self._record(value)
        if isinstance(value, Mapping):
            return {str(key): self.write(item) for key, item in value.items()}
        if isinstance(value, np.ndarray):
            return self.write(value.tolist())
        if isinstance(value, list | tuple):
            return [self.write(item) for item in value]
        return _plain_scalar(value)

    def _record(self, value: Any) -> dict[str, Plain]:
        record: dict[str, Plain] = {}
        kind: type = type(value)
        for item in declared(kind):
            part = getattr(value, item.name)
            if item.spread is None:
                record[self.key(item)] = self.write(part)
                continue
            inner = (
                dict.fromkeys(self.keys_of(_required(item.hint)))
                if part is None
                else self._record(part)
            )
            record |= {f"{item.spread.prefix}{key}": one for key, one in inner.items()}
        return record

    def read(self, plain: Plain, kind: Any, where: str = "") -> Any:
        """Return the value of that kind which was written as `plain`.

        Parameters
        ----------
        plain : dict, list, str, int, float, bool or None
            As :meth:`write` gave it.
        kind : type or type hint
            What it was.
        where : str
            Its place, for messages.

        Raises
        ------
        ValueError
            If a key is missing or unknown, or a value is of another kind; with its place.
        """
        origin, inner = get_origin(kind), get_args(kind)
        if is_dataclass(kind) and isinstance(kind, type):
            return self._read_record(plain, kind, where)
        if origin in (Union, UnionType):
            return self._read_union(plain, inner, where)
        if origin is tuple:
            _require(isinstance(plain, list), plain, "a list", where)
            kinds = inner[:1] * len(plain) if inner[-1:] == (Ellipsis,) else inner
            _require(len(kinds) == len(plain), plain, f"{len(kinds)} values", where)
            pairs = enumerate(zip(plain, kinds, strict=True))
            return tuple(self.read(one, each, f"{where}[{k}]") for k, (one, each) in pairs)
        if isinstance(origin, type) and issubclass(origin, Mapping):
            _require(isinstance(plain, dict), plain, "an object", where)
            return {key: self.read(one, inner[1], f"{where}.{key}") for key, one in plain.items()}
        return _read_scalar(plain, kind, where)

    def _read_union(self, plain: Plain, kinds: tuple[Any, ...], where: str) -> Any:
        if plain is None and NoneType in kinds:
            return None
        faults = []
        for kind in kinds:
            if kind is not NoneType:
                try:
                    return self.read(plain, kind, where)
                except ValueError as error:
                    faults.append(str(error))
        raise ValueError(faults[0])

    def _read_record(self, plain: Plain, kind: type, where: str) -> Any:
        _require(isinstance(plain, dict), plain, "an object", where)
        left, values = dict(plain), {}
        for item in declared(kind):
            if item.spread is None:
                key = self.key(item)
                place = f"{where}.{key}" if where else key
                if key not in left:
                    raise ValueError(f"{place}: is missing.")
                values[item.name] = self.read(left.pop(key), item.hint, place)
                continue
            part, prefix = _required(item.hint), item.spread.prefix
            names = self.keys_of(part)
            found = {name: left.pop(f"{prefix}{name}", None) for name in names}
            none = all(one is None for one in found.values()) and part is not item.hint
            values[item.name] = None if none else self._read_record(found, part, where)
        if left:
            raise ValueError(f"{where or 'the results'}: has an unknown key {next(iter(left))!r}.")
        return kind(**values)


def _required(hint: Any) -> type:
    """Return the dataclass of a field that may also be None."""
    kinds = [each for each in get_args(hint) if each is not NoneType] or [hint]
    return kinds[0]  # type: ignore[no-any-return]


def _plain_scalar(value: Any) -> Plain:
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    raise TypeError(f"there is no rule to write a value of kind {type(value).__name__}.")


def _read_scalar(plain: Plain, kind: Any, where: str) -> Any:
    if kind is Any:
        return plain
    if kind is float:
        number = isinstance(plain, int | float) and not isinstance(plain, bool)
        _require(number or plain is None, plain, "a number or null", where)
        return math.nan if plain is None else float(plain)
    if kind is np.ndarray or get_origin(kind) is np.ndarray:
        _require(isinstance(plain, list), plain, "a list", where)
        array = np.array(plain, dtype=np.float64)  # null becomes NaN
        array.setflags(write=False)
        return array
    if get_origin(kind) is Literal:
        _require(plain in get_args(kind), plain, " or ".join(map(repr, get_args(kind))), where)
        return plain
    exact = isinstance(plain, kind) and isinstance(plain, bool) == (kind is bool)
    _require(exact, plain, kind.__name__, where)
    return plain


def _require(held: bool, plain: Plain, expected: str, where: str) -> None:
    if not held:
        shown = repr(plain)
        raise ValueError(f"{where}: expected {expected}, got {shown[:60]}.")
