"""Every public name says in numpydoc's form what it takes and gives, for the reference."""

from __future__ import annotations

import importlib
import inspect
import re

import pytest

PACKAGES = (
    "twinangle", "twinangle.agreement", "twinangle.clocks", "twinangle.cycles",
    "twinangle.formats", "twinangle.plotting", "twinangle.results", "twinangle.signals",
    "twinangle.simulate", "twinangle.study", "twinangle.wearable",
)  # fmt: skip
PUBLIC = [
    (package, name)
    for package in PACKAGES
    for name in importlib.import_module(package).__all__
    if name != "__version__"
]


def sections(said: str) -> dict[str, str]:
    """The text of each section of a docstring, by its heading (numpydoc's format)."""
    parts = re.split(r"(?m)^([A-Z][A-Za-z ]+)\n-{4,}\n", said)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def described(parameters: str) -> set[str]:
    """The names in the heads of a section's entries: `test, reference : array_like`."""
    heads = re.findall(r"(?m)^(\S.*)$", parameters)
    return {name for head in heads for name in re.split(r",\s*", head.split(" : ")[0])}


def test_packages_are_reached_from_the_top():
    twinangle = importlib.import_module("twinangle")
    for package in ("agreement", "clocks", "cycles", "plotting", "signals", "simulate", "wearable"):
        assert package in twinangle.__all__
        assert getattr(twinangle, package).__name__ == f"twinangle.{package}"


@pytest.mark.parametrize(("package", "name"), PUBLIC)
def test_it_says_what_it_takes_and_gives(package, name):
    value = getattr(importlib.import_module(package), name)
    said = inspect.getdoc(value) or ""
    assert len(said.split("\n")[0]) > 15
    function = inspect.unwrap(value)
    if not inspect.isfunction(function):
        return
    found = sections(said)
    signature = inspect.signature(function)
    names = {
        f"**{key}" if each.kind is each.VAR_KEYWORD else key
        for key, each in signature.parameters.items()
    }
    assert names <= described(found.get("Parameters", ""))
    if signature.return_annotation not in (None, "None"):
        assert found.get("Returns", "").strip()
