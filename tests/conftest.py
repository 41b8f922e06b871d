"""Settings of every test: the same input gives the same examples on every machine.

``HYPOTHESIS_PROFILE=explore`` draws new examples instead, to look for what the fixed ones miss.
"""

import os

import pytest
from hypothesis import settings

NIGHTLY = bool(os.environ.get("TWINANGLE_NIGHTLY"))

settings.register_profile(
    "repeatable",
    max_examples=60 if NIGHTLY else 12,
    derandomize=True,
    database=None,
    deadline=None,
)
settings.register_profile("explore", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

# As the commands have it, and before a test imports numpy: threads that wait at full speed, for
# matrices as small as these, took up to half of the tests' processor time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Nothing is kept from one test to the next, nor in the folder of whoever runs them.
os.environ["TWINANGLE_KEPT"] = ""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave what takes long to the night: `.ci/nightly` sets TWINANGLE_NIGHTLY."""
    for item in items:
        if item.get_closest_marker("nightly") and not NIGHTLY:
            item.add_marker(pytest.mark.skip(reason="takes long: nightly"))
