"""The register of everything that is cited: one row a work, and how it was checked.

`citations.csv` beside this module is the one place where an entry is written. The columns are those
of BibTeX; `checked` says where an entry was looked up, what of it was not, or "from memory".
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Citation:
    """One work that is cited; authors as in BibTeX, "Bland, J. Martin and Altman, Douglas G."."""

    key: str
    type: str
    author: str
    year: str
    title: str
    container: str
    volume: str
    pages: str
    doi: str
    checked: str

    @property
    def from_memory(self) -> bool:
        """Whether nobody looked the entry up."""
        return self.checked.startswith("from memory")

    def reference(self) -> str:
        """Return the entry as a line of a list of references."""
        people = [self.author] if self.author.startswith("{") else self.author.split(" and ")
        names = ", ".join(_short_name(name) for name in people)
        place = f"{self.volume}:{self.pages}".strip(":")
        where = f"{self.container} {place}".strip()
        doi = f" doi:{self.doi}" if self.doi else ""
        return f"{names} ({self.year}). {self.title}. {where}.{doi}"

    def bibtex(self) -> str:
        """Return the entry as BibTeX, with a note where nobody looked it up."""
        holder = {"article": "journal", "inproceedings": "booktitle", "book": "publisher"}
        fields = {
            "author": self.author,
            "year": self.year,
            "title": f"{{{self.title}}}",
            holder.get(self.type, "howpublished"): self.container,
            "volume": self.volume,
            "pages": self.pages.replace("-", "--"),
            "doi": self.doi,
            "note": "cited from memory" if self.from_memory else "",
        }
        lines = [f"  {name} = {{{_escaped(text)}}}," for name, text in fields.items() if text]
        return "\n".join([f"@{self.type}{{{self.key},", *lines, "}"])


def _escaped(text: str) -> str:
    return text.replace("&", r"\&")


def _short_name(name: str) -> str:
    """Return "Bland JM" of "Bland, J. Martin"; a name in braces or without a comma as it is."""
    if name == "others":
        return "et al."
    family, _, given = name.strip("{}").partition(", ")
    initials = "".join(part[0] for part in given.replace("-", " ").split() if part[0].isupper())
    return f"{family} {initials}".strip()


@cache
def register_of_citations() -> Mapping[str, Citation]:
    """Return the register by key."""
    text = files("twinangle.report").joinpath("citations.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return MappingProxyType({row["key"]: Citation(**row) for row in rows})
