"""A step is made anew where what it takes, or what it reads of the whole, is another."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from twinangle.kept import Steps, Store, making
from twinangle.kept.digest import digest_of
from twinangle.kept.watching import part_of, watched
from twinangle.notices import Notice
from twinangle.options import Options

OPTIONS = Options(0.95, 5.0, None, False, None, None, 1)


@dataclass(frozen=True, slots=True)
class Whole:
    options: Options | None
    numbers: tuple[float, ...]
    name: str

    @property
    def total(self) -> float:
        return sum(self.numbers)

    def shown(self) -> str:
        assert self.options is not None
        return f"{self.name} {self.options.level}"


WHOLE = Whole(OPTIONS, (1.0, 2.0), "a")


def test_what_is_read_is_noted_and_nothing_else():
    read: set[str] = set()
    value = watched(WHOLE, read)
    assert (value.total, value.options.margin_deg) == (3.0, 5.0)
    assert read == {"total", "options?", "options.margin_deg"}
    assert value.shown() == "a 95 %"
    assert read == {"total", "options?", "options.margin_deg", "name", "options.level"}
    assert part_of(WHOLE, "options.level") == "95 %"
    assert part_of(WHOLE, "options?") == "Options"
    assert part_of(replace(WHOLE, options=None), "options.level") is None


def test_a_changed_copy_of_what_is_watched_is_an_ordinary_value():
    read: set[str] = set()
    changed = replace(watched(WHOLE, read), name="b")
    assert changed == replace(WHOLE, name="b", options=changed.options)
    assert type(changed) is Whole
    assert read == {"numbers", "options?"}


def margins(whole: Whole, item: str) -> str:
    return f"{item} {whole.options.margin_deg}" if item == "margin" else f"{item} {whole.name}"


def steps_on(store: Store, whole: Whole, folder: Path) -> tuple[list[str], set[str]]:
    """Return what two steps gave, and which of them were made."""
    before = {entry.path for entry in store.entries()}
    steps = Steps(store, folder)
    items = {name: name for name in ("margin", "name")}
    found = list(steps.in_order("say", margins, items, takes=lambda item: (item,), of=whole))
    return found, {e.name for e in store.entries() if e.path not in before} - {
        f"what is read by say: {k}" for k in ("margin", "name")
    }


def test_a_step_is_made_anew_where_what_it_reads_is_another(tmp_path):
    store = Store(tmp_path / "kept")
    both = {"say: margin", "say: name"}
    assert steps_on(store, WHOLE, tmp_path) == (["margin 5.0", "name a"], both)
    assert steps_on(store, WHOLE, tmp_path) == (["margin 5.0", "name a"], set())
    other = replace(WHOLE, options=replace(OPTIONS, margin_deg=3.0))
    assert steps_on(store, other, tmp_path) == (["margin 3.0", "name a"], {"say: margin"})
    renamed = replace(other, name="b", numbers=())
    assert steps_on(store, renamed, tmp_path) == (["margin 3.0", "name b"], {"say: name"})


def branching(whole: Whole, _: None) -> float:
    return whole.total if whole.name == "a" else whole.options.confidence


def test_what_another_branch_reads_is_found_too(tmp_path):
    """A step that reads other parts when it is asked again is not taken for what it was."""
    store = Store(tmp_path / "kept")

    def ask(whole: Whole) -> float:
        steps = Steps(store, tmp_path)
        items: dict[str, None] = {"it": None}
        return next(steps.in_order("branch", branching, items, takes=lambda _: (), of=whole))

    for whole in (
        WHOLE,
        replace(WHOLE, name="b"),
        replace(WHOLE, name="b", options=replace(OPTIONS, confidence=0.9)),
        replace(WHOLE, numbers=(4.0,)),
        WHOLE,
    ):
        assert ask(whole) == branching(whole, None)


def whether(whole: Whole, _: None) -> bool:
    return whole.options is None


def test_that_a_part_is_there_is_read_too(tmp_path):
    store = Store(tmp_path / "kept")
    for whole in (WHOLE, replace(WHOLE, options=None), WHOLE):
        items: dict[str, None] = {"it": None}
        found = Steps(store, tmp_path).in_order("w", whether, items, takes=lambda _: (), of=whole)
        assert next(found) == whether(whole, None)


def test_files_come_back_with_what_is_kept(tmp_path):
    store = Store(tmp_path / "kept")

    def write(folder: Path, item: str) -> str:
        (folder / f"{item}.txt").write_text(f"drawn {item}")
        return item

    for k in (1, 2):
        folder = tmp_path / str(k)
        folder.mkdir()
        steps = Steps(store, folder)
        how: dict[str, Any] = {"takes": lambda item: (item,), "files": lambda it: [f"{it}.txt"]}
        found = steps.in_order("w", lambda it, f=folder: write(f, it), {"a": "a"}, **how)
        assert list(found) == ["a"]
        assert (folder / "a.txt").read_text() == "drawn a"


def test_what_no_hash_stands_for_is_made_each_time(tmp_path):
    store = Store(tmp_path / "kept")
    for _ in range(2):
        steps = Steps(store, tmp_path)
        made = steps.in_order("f", lambda item: item, {"a": 1}, takes=lambda _: (object(),))
        assert list(made) == [1]
    assert not store.entries()


def test_fresh_takes_nothing_and_keeps_what_it_makes(tmp_path):
    store, made = Store(tmp_path / "kept"), []

    def make(item: str) -> str:
        made.append(item)
        return item

    for fresh in (True, True, False):
        steps = Steps(store, tmp_path, fresh=fresh)
        assert list(steps.in_order("m", make, {"a": "a"}, takes=lambda item: (item,))) == ["a"]
    assert made == ["a", "a"]


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=4),
    lambda inner: (
        st.lists(inner, max_size=3).map(tuple)
        | st.dictionaries(st.text(max_size=2), inner, max_size=3)
    ),
    max_leaves=8,
)


def exactly(value: object) -> str:
    """Return a text that tells apart what `==` does not: 1, 1.0 and True, 0.0 and -0.0."""
    return repr(value)


@settings(max_examples=60)
@given(plain, plain)
def test_values_have_one_hash_only_where_they_are_the_same(one, other):
    assert (digest_of(one) == digest_of(other)) == (exactly(one) == exactly(other))
    assert digest_of(pickle.loads(pickle.dumps(one))) == digest_of(one)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (np.array([1.0, 2.0]), np.array([1.0, np.nextafter(2.0, 3.0)])),
        (np.zeros((2, 3)), np.zeros((3, 2))),
        (np.zeros(2), np.zeros(2, dtype=np.float32)),
        (Notice("a", "b", "note"), Notice("a", "b", "grave")),
        (Notice("a"), "a"),
        (("ab", "c"), ("a", "bc")),
        (OPTIONS, replace(OPTIONS, confidence=0.9)),
    ],
    ids=str,
)
def test_a_bit_a_shape_or_a_kind_makes_another_hash(one, other):
    assert digest_of(one) != digest_of(other)


def test_what_several_steps_take_is_hashed_once(tmp_path, monkeypatch):
    hashed: list[object] = []

    def noted(value: object, *folder: Path | None) -> str:
        hashed.append(value)
        return digest_of(value, *folder)

    monkeypatch.setattr(making, "digest_of", noted)
    steps, both = Steps(Store(tmp_path)), (WHOLE, replace(WHOLE, name="b"))
    for name, taken in (("all", both), ("all again", (both[0], both[1])), ("one", WHOLE)):
        made = steps.in_order(name, str, {"a": taken}, takes=lambda one: (one,))
        assert next(made) == str(taken)
    assert sum(value is WHOLE for value in hashed) == 1
