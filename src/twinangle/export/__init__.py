"""A study as a Motion-BIDS data set that reads back to the same results."""

from __future__ import annotations

from twinangle.export.dataset import Exported, export_study

__all__ = ["Exported", "export_study"]
