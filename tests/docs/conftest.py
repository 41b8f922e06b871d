"""What the tests of the documents share: every page, and the modules that make parts of them."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def reference_blocks() -> ModuleType:
    """Return the module behind `make reference`, which lies outside the package."""
    path = ROOT / "docs/extensions/reference_blocks.py"
    spec = importlib.util.spec_from_file_location("reference_blocks", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
