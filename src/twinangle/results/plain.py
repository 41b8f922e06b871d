"""Results to plain values and back, by what their fields declare: one rule, no list of keys.

A number that does not exist (NaN) is written as null, an open end of an interval as "inf" or
"-inf". A value of a kind that has no rule is an error, so that nothing is dropped unseen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, is_dataclass, replace
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np

from twinangle.declare import Declared, declared, derived, key_of

Plain = Any  # dict, list, str, int, float, bool or None
_OPEN = {"inf": math.inf, "-inf": -math.inf}


@dataclass(frozen=True, slots=True)
class Keys:
    """Writes and reads dataclasses under the keys that their declarations give.

    Parameters
    ----------
    data_unit : str
        The unit of the values compared, which ends the keys of fields declared in `DATA`.
    unread : list of str, optional
        Given for a file of an older schema: a key without its unit is taken, a missing value is
        what says nothing (NaN, empty, None), and a key that has no place any more is named here.
    """

    data_unit: str = "deg"
    unread: list[str] | None = None

    def key(self, item: Declared) -> str:
        """Return the key under which a field is written."""
        if item.named is not None:
            return item.named.key
        return key_of(item.name, item.quantity.unit, self.data_unit)

    def keys_of(self, kind: Any, *, computed: bool = True) -> tuple[str, ...]:
        """Return every key of a dataclass, those of its spread parts among them, in order.

        Parameters
        ----------
        kind : type
            A dataclass, or one of its kinds (`Pooled[LimitsOfAgreement]`).
        computed : bool
            Whether the keys of properties are among them.
        """
        keys: dict[str, None] = {}
        for item in _fields(kind):
            if item.spread is None:
                if item.where_given is None:
                    keys[self.key(item)] = None
                continue
            for part in _records(item.hint):
                inner = self.keys_of(part, computed=computed)
                keys |= dict.fromkeys(f"{item.spread.prefix}{key}" for key in inner)
        if computed:
            keys |= dict.fromkeys(self.key(item) for item in derived(_owner(kind)))
        return tuple(keys)

    def write(self, value: Any) -> Plain:
        """Return `value` built of dict, list, str, int, float, bool and None only.

        Raises
        ------
        TypeError
            If it holds a value of a kind that has no rule.
        ValueError
            If a spread part has a key of the whole with another value.
        """
        if is_dataclass(value) and not isinstance(value, type):
            return self._record(value)
        if isinstance(value, Mapping):
            return {str(key): self.write(item) for key, item in value.items()}
        if isinstance(value, np.ndarray):
            numbers = value.tolist()
            # Most arrays hold finite numbers alone, which are plain as they are.
            plain = value.dtype == np.float64 and bool(np.isfinite(value).all())
            return numbers if plain else self.write(numbers)
        if isinstance(value, list | tuple):
            return [self.write(item) for item in value]
        return _plain_scalar(value)

    def _record(self, value: Any) -> dict[str, Plain]:
        record: dict[str, Plain] = {}
        kind: Any = value.__class__
        for item in _fields(kind):
            part, keys = getattr(value, item.name), self._within(item)
            if item.joined is not None:
                record |= _parted(item, part)
                continue
            if item.where_given is not None and part == item.where_given.empty:
                continue
            if item.spread is None:
                record[self.key(item)] = keys.write(part)
                continue
            inner = (
                dict.fromkeys(keys.keys_of(_records(item.hint)[0]))
                if part is None
                else keys._record(part)
            )
            for name, one in inner.items():
                key = f"{item.spread.prefix}{name}"
                if record.get(key, one) != one:
                    raise ValueError(f"{key}: is {record[key]!r} of the whole, {one!r} of a part.")
                record[key] = one
        for item in derived(kind):
            record[self.key(item)] = self.write(getattr(value, item.name))
        return record

    def _within(self, item: Declared) -> Keys:
        """Return the keys of a part, which may be in another unit."""
        return self if item.unit is None else replace(self, data_unit=item.unit.data_unit)

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
        if is_dataclass(_owner(kind)):
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
        kinds = tuple(kind for kind in kinds if kind is not NoneType)
        if isinstance(plain, dict) and len(_records(*kinds)) > 1:
            return self._read_record(plain, self._chosen(plain, kinds), where)
        faults = []
        for kind in kinds:
            try:
                return self.read(plain, kind, where)
            except ValueError as error:
                faults.append(str(error))
        raise ValueError(faults[0])

    def _chosen(self, plain: Mapping[str, Plain], kinds: tuple[Any, ...]) -> Any:
        """Return the dataclass whose keys are all there, else the first."""
        several = _records(*kinds)
        whole = (k for k in several if set(self.keys_of(k, computed=False)) <= set(plain))
        return next(whole, several[0])

    def _read_record(self, plain: Plain, kind: Any, where: str) -> Any:
        _require(isinstance(plain, dict), plain, "an object", where)
        known = {self.key(item) for item in derived(_owner(kind))}
        values: dict[str, Any] = {}
        for item in _fields(kind, aside=True):
            if item.aside is not None:
                values[item.name] = item.aside.empty
            elif item.spread is not None:
                values[item.name] = self._read_spread(plain, item, known, where)
            elif item.where_given is not None and self.key(item) not in plain:
                values[item.name] = item.where_given.empty
            else:
                key = self._found(plain, item)
                known.add(key)
                place = f"{where}.{key}" if where else key
                values[item.name] = (
                    self._within(item).read(plain[key], item.hint, place)
                    if key in plain
                    else self._nothing(item.hint, place)
                )
                if item.joined is not None:
                    values[item.name] = self._whole(plain, item, known, place)
        for key in plain:
            if key not in known:
                self._unknown(key, where)
        return _owner(kind)(**values)

    def _whole(
        self, plain: Mapping[str, Plain], item: Declared, known: set[str], where: str
    ) -> str:
        """Return a name from its parts, each under its key."""
        assert item.joined is not None
        parts = item.joined.parts
        known |= set(parts)
        return item.joined.join(*(self.read(plain.get(key, ""), str, where) for key in parts))

    def _found(self, plain: Mapping[str, Plain], item: Declared) -> str:
        """Return the key of a field; an older file may have it without its unit."""
        key = self.key(item)
        return item.name if self.unread is not None and key not in plain else key

    def _read_spread(
        self, plain: Mapping[str, Plain], item: Declared, known: set[str], where: str
    ) -> Any:
        """Read a part whose keys stand among those of the whole, some perhaps for both."""
        assert item.spread is not None
        prefix, keys = item.spread.prefix, self._within(item)
        mine = {
            key.removeprefix(prefix): one for key, one in plain.items() if key.startswith(prefix)
        }
        part = keys._chosen(mine, get_args(item.hint) or (item.hint,))
        names = set(keys.keys_of(part))
        if self.unread is not None:
            names |= {each.name for each in _fields(part)}
        mine = {key: one for key, one in mine.items() if key in names}
        known |= {f"{prefix}{key}" for key in mine}
        optional = NoneType in get_args(item.hint)
        if optional and all(one is None for one in mine.values()):
            return None
        return keys._read_record(mine, part, where)

    def _unknown(self, key: str, where: str) -> None:
        if self.unread is None:
            raise ValueError(f"{where or 'the results'}: has an unknown key {key!r}.")
        self.unread.append(f"{where}.{key}" if where else key)

    def _nothing(self, kind: Any, where: str) -> Any:
        """Return what says nothing, for a value that an older file does not have."""
        origin, inner = get_origin(kind), get_args(kind)
        if self.unread is None or origin is Literal:
            raise ValueError(f"{where}: is missing.")
        if origin in (Union, UnionType):
            return None if NoneType in inner else self._nothing(inner[0], where)
        if origin is tuple:
            return () if Ellipsis in inner else tuple(self._nothing(each, where) for each in inner)
        if kind is np.ndarray or origin is np.ndarray:
            return np.zeros(0)
        if is_dataclass(_owner(kind)):
            return self._read_record({}, kind, where)
        return math.nan if kind is float else (origin or kind)() if origin is not Mapping else {}


def _parted(item: Declared, name: str) -> dict[str, Plain]:
    """Return a name's parts, the field's own first, without those that are empty."""
    assert item.joined is not None
    parts = dict(zip(item.joined.parts, item.joined.split(name), strict=True))
    others = {key: part for key, part in parts.items() if part and key != item.name}
    return {item.name: parts[item.name], **others}


def _owner(kind: Any) -> Any:
    """Return the dataclass of which `kind` is one (`Pooled` of `Pooled[LimitsOfAgreement]`)."""
    origin = get_origin(kind)
    return origin if isinstance(origin, type) and is_dataclass(origin) else kind


def _fields(kind: Any, *, aside: bool = False) -> Iterator[Declared]:
    """Yield what is declared of a dataclass, type variables replaced; `aside`: those too."""
    for item in declared(_owner(kind)):
        if item.aside is not None and not aside:
            continue
        if get_args(kind) and getattr(item.hint, "__parameters__", ()):
            yield replace(item, hint=item.hint[get_args(kind)])
        else:
            yield item


def _records(*hints: Any) -> tuple[Any, ...]:
    """Return the dataclasses of hints, each of which may name several, or None."""
    several = (
        each
        for hint in hints
        for each in (get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,))
    )
    return tuple(each for each in several if is_dataclass(_owner(each)))


def _plain_scalar(value: Any) -> Plain:
    if value is None:
        return None
    if isinstance(value, str):
        return str(value)  # a Notice too: its kind and gravity have fields of their own
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        number = float(value)
        if math.isinf(number):
            return "inf" if number > 0 else "-inf"
        return None if math.isnan(number) else number
    raise TypeError(f"there is no rule to write a value of kind {type(value).__name__}.")


def _read_scalar(plain: Plain, kind: Any, where: str) -> Any:
    if kind is Any or kind is object:
        return plain
    if kind is float:
        number = isinstance(plain, int | float) and not isinstance(plain, bool)
        _require(number or plain is None or plain in tuple(_OPEN), plain, "a number or null", where)
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
