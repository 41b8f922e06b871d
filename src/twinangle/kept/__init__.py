"""Analyses, figures and documents that are kept from run to run, by what they depend on."""

from __future__ import annotations

from twinangle.kept.keys import Key, key_of
from twinangle.kept.steps import Steps
from twinangle.kept.store import Entry, Store, kept_folder

__all__ = ["Entry", "Key", "Steps", "Store", "kept_folder", "key_of"]
