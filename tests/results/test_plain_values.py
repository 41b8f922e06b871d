"""Plain values and back: keys follow from the declarations, and nothing is lost or let pass."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Generic, Literal, TypeVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from twinangle.declare import (
    DATA,
    DATA_SQUARED,
    NUMBER,
    Aside,
    InUnit,
    Quantity,
    Spread,
    declared,
    undeclared,
)
from twinangle.results.plain import Keys
from twinangle.results.tables.columns import columns_of, row_kind
from twinangle.results.tables.identity import OfCondition


@dataclass(frozen=True)
class Part:
    offset: Annotated[float, Quantity(DATA, "a difference")]
    offset_ci: Annotated[tuple[float, float], Quantity(DATA, "its interval")]


@dataclass(frozen=True)
class Whole:
    name: str
    kind: Literal["one", "two"]
    count: Annotated[int, Quantity(NUMBER, "how many")]
    lag: Annotated[float, Quantity("s", "seconds")]
    power: Annotated[float, Quantity(DATA_SQUARED, "a mean square")]
    part: Annotated[Part | None, Spread("wearable_")]
    parts: tuple[Part, ...]
    more: Mapping[str, float | str]
    found: bool = True


finite = st.floats(allow_nan=False, allow_infinity=False)
parts = st.builds(Part, finite, st.tuples(finite, finite))
wholes = st.builds(
    Whole, st.text(), st.sampled_from(["one", "two"]), st.integers(), finite, finite,
    st.none() | parts, st.lists(parts).map(tuple),
    st.dictionaries(st.text(), st.text() | finite), st.booleans(),
)  # fmt: skip


@given(wholes)
def test_what_is_written_reads_back_equal_through_json(whole):
    text = json.dumps(Keys("deg").write(whole), allow_nan=False)
    assert Keys("deg").read(json.loads(text), Whole) == whole


def test_a_key_ends_with_its_unit_and_a_spread_part_stands_among_the_others():
    whole = Whole("a", "one", 3, 0.5, 2.0, Part(1.0, (0.0, 2.0)), (), {})
    assert Keys("deg").write(whole) == {
        "name": "a",
        "kind": "one",
        "count": 3,
        "lag_s": 0.5,
        "power_deg2": 2.0,
        "wearable_offset_deg": 1.0,
        "wearable_offset_ci_deg": [0.0, 2.0],
        "parts": [],
        "more": {},
        "found": True,
    }


def test_a_missing_number_is_null_and_comes_back_as_nan():
    plain = Keys("deg").write(Part(math.nan, (math.nan, 1.0)))
    assert plain == {"offset_deg": None, "offset_ci_deg": [None, 1.0]}
    back = Keys("deg").read(plain, Part)
    assert math.isnan(back.offset)
    assert math.isnan(back.offset_ci[0])
    assert back.offset_ci[1] == 1


@dataclass(frozen=True, eq=False)
class Curve:
    mean: Annotated[NDArray[np.float64], Quantity(DATA, "a curve")]


def test_arrays_come_back_read_only_with_their_gaps():
    back = Keys("deg").read(Keys("deg").write(Curve(np.array([1.0, np.nan]))), Curve)
    np.testing.assert_array_equal(back.mean, [1.0, np.nan])
    with pytest.raises(ValueError, match="read-only"):
        back.mean[0] = 2


def test_a_value_without_a_rule_is_an_error():
    with pytest.raises(TypeError, match="no rule to write a value of kind set"):
        Keys("deg").write({"a": {1, 2}})


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"offset_deg": "1"}, "offset_deg: expected a number or null, got '1'"),
        ({"offset_ci_deg": [1.0]}, "offset_ci_deg: expected 2 values"),
        ({"offset_mm": 1.0}, "has an unknown key 'offset_mm'"),
    ],
)
def test_a_fault_is_told_with_its_place(change, message):
    plain = {"offset_deg": 1.0, "offset_ci_deg": [0.0, 2.0]} | change
    with pytest.raises(ValueError, match=message.replace("[", r"\[")):
        Keys("deg").read(plain, Part)
    del plain["offset_deg"]
    with pytest.raises(ValueError, match="offset_deg: is missing"):
        Keys("deg").read(plain, Part)


@dataclass(frozen=True)
class Rate:
    bias_deg_s: Annotated[float, Quantity("deg/s", "the mean rate at rest; NaN without rest")]
    bias_deg_s_ci: tuple[float, float]
    spread: Annotated[float, Quantity(DATA, "SD over cycles")]
    spread_ci: tuple[float, float]


def test_an_interval_is_declared_by_its_value():
    said = {item.name: item.quantity for item in declared(Rate)}
    assert said["spread_ci"] == Quantity(DATA, "the interval of the SD over cycles")
    assert said["bias_deg_s_ci"] == Quantity("deg/s", "the interval of the mean rate at rest")
    assert list(undeclared(Rate)) == []


def test_a_short_unit_that_the_name_says_is_not_repeated():
    keys = {item.name: Keys("deg").key(item) for item in declared(Rate)}
    assert keys["bias_deg_s"] == "bias_deg_s"
    assert keys["spread_ci"] == "spread_ci_deg"


def test_a_row_takes_unit_and_meaning_from_the_result():
    kind = row_kind("Row", OfCondition, Rate, "spread spread_ci")
    columns = [(one.name, one.unit, one.meaning) for one in columns_of(kind)[2:]]
    assert columns == [
        ("spread_deg", "deg", "SD over cycles"),
        ("spread_ci_low_deg", "deg", "lower end of the interval of the SD over cycles"),
        ("spread_ci_high_deg", "deg", "upper end of the interval of the SD over cycles"),
    ]


def test_fields_of_which_nothing_is_said_are_found():
    assert list(undeclared(Whole)) == ["name", "kind", "parts", "more", "found"]


Found = TypeVar("Found")


@dataclass(frozen=True)
class Missing:
    reason: str


@dataclass(frozen=True)
class Group(Generic[Found]):
    name: str
    value: Annotated[Found | Missing, Spread()]


@dataclass(frozen=True)
class Named:
    name: str
    low: Annotated[float, Quantity(DATA, "an end")]
    logs: Annotated[Part, Quantity(NUMBER, "logarithms"), InUnit("")]
    aside: Annotated[tuple[float, ...], Aside(())]

    @property
    def double(self) -> Annotated[float, Quantity(DATA, "twice the end")]:
        return 2 * self.low


def named(name: str) -> Named:
    return Named(name, 1.0, Part(0.5, (0.0, math.inf)), ())


def test_a_part_of_several_kinds_is_told_by_its_keys():
    keys, kind = Keys("deg"), tuple[Group[Named], ...]
    both = (Group("a", named("a")), Group("b", Missing("no participant")))
    plain = keys.write(both)
    assert plain == [
        {
            "name": "a",
            "low_deg": 1.0,
            "logs": {"offset": 0.5, "offset_ci": [0.0, "inf"]},
            "double_deg": 2.0,
        },
        {"name": "b", "reason": "no participant"},
    ]
    assert keys.read(plain, kind) == both


def test_a_key_that_whole_and_part_share_must_say_one_thing():
    with pytest.raises(ValueError, match="name: is 'a' of the whole, 'b' of a part"):
        Keys("deg").write(Group("a", named("b")))


def test_what_an_older_file_lacks_says_nothing_and_what_has_no_place_is_named():
    unread: list[str] = []
    back = Keys("deg", unread).read({"offset": 2.0, "old": 1}, Part, "part")
    assert back.offset == 2
    assert np.isnan(back.offset_ci).all()
    assert unread == ["part.old"]
