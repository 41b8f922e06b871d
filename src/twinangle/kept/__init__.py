"""Analyses, figures and documents that are kept from run to run, by what they depend on."""

from __future__ import annotations

from twinangle.kept.digest import digest_of
from twinangle.kept.keys import (
    Key,
    hash_ahead,
    hash_of_file,
    hash_of_files,
    key_of,
    key_of_measurements,
)
from twinangle.kept.making import Steps
from twinangle.kept.store import Entry, Store, kept_folder

__all__ = [
    "Entry",
    "Key",
    "Steps",
    "Store",
    "digest_of",
    "hash_ahead",
    "hash_of_file",
    "hash_of_files",
    "kept_folder",
    "key_of",
    "key_of_measurements",
]
