"""The simulated walks of benchmarks/synchronisation.py, for tests."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

BENCHMARK = Path(__file__).resolve().parents[2] / "benchmarks" / "synchronisation.py"


@pytest.fixture(scope="session")
def walking() -> ModuleType:
    spec = importlib.util.spec_from_file_location("synchronisation_benchmark", BENCHMARK)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module
