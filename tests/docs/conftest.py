"""What the tests of the documents share: every page, and the modules that make parts of them."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


def extension(name: str) -> ModuleType:
    """Return a module of docs/extensions, which lies outside the package."""
    path = ROOT / f"docs/extensions/{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def reference_blocks() -> ModuleType:
    """Return the module behind `make reference`."""
    return extension("reference_blocks")


@pytest.fixture(scope="session")
def narrow_tables() -> ModuleType:
    """Return what makes tables of words readable on a phone."""
    return extension("narrow_tables")


@pytest.fixture(scope="session")
def tutorial_outputs() -> ModuleType:
    """Return what keeps the outputs of tutorials."""
    return extension("tutorial_outputs")
