"""A folder of results that is never half-written: staged inside, switched by a journal.

While a run works, its files lie in a folder of its own inside the output folder. When all of them
are there, a journal is written that says in plain words that the folder is unfinished, and what is
left to do; every file is moved to its place; the journal goes. Whoever comes after a kill finds the
old results whole, the new ones whole, or the journal, by which :func:`settle` finishes the move.
"""

from __future__ import annotations

from twinangle.output_folder.journal import MANIFEST, UNFINISHED, settle, unfinished
from twinangle.output_folder.places import check_output_folder
from twinangle.output_folder.staging import staged

__all__ = ["MANIFEST", "UNFINISHED", "check_output_folder", "settle", "staged", "unfinished"]
