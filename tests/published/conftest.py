"""Values that others published, each with how it is known, for every test of this folder."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

TABLE = Path(__file__).resolve().parents[2] / "reference_data/published_values.csv"


@dataclass(frozen=True)
class Published:
    """A value, half a unit of its last digit, and its kind: how anybody here knows it."""

    value: float
    rounding: float
    kind: str

    def check(self, ours: float, *, slack: float = 0.0) -> None:
        """Hold ours against it, to its rounding and what the paper's own arithmetic explains."""
        assert abs(ours - self.value) <= self.rounding * (1 + 1e-9) + slack, (ours, self)


@pytest.fixture(scope="session")
def published() -> Callable[[str, str], Published]:
    """Return what looks a value up by its work's key and its name."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = {
            (row["key"], row["quantity"]): Published(
                float(row["value"]), float(row["rounding"]), row["kind"]
            )
            for row in csv.DictReader(file)
        }
    return lambda key, quantity: rows[key, quantity]
