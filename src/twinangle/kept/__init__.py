"""Analyses that are kept from one run to the next, by what they depend on."""

from __future__ import annotations

from twinangle.kept.keys import Key, key_of
from twinangle.kept.store import Entry, Store, kept_folder

__all__ = ["Entry", "Key", "Store", "kept_folder", "key_of"]
