"""The register of everything that is cited: one row a work, and how it was checked.

`citations.csv` beside this module is the one place where an entry is written. The columns are those
of BibTeX; `checked` says where an entry was looked up, what of it was not, or "from memory".
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
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

    @property
    def named(self) -> str:
        """How a text names the authors: `Lin`, `Bland & Altman`, `Aminian et al.`."""
        families = [name.strip("{}").partition(", ")[0] for name in self.author.split(" and ")]
        if len(families) > 2 or families[-1] == "others":
            return f"{families[0]} et al."
        return " & ".join(families)

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


@dataclass(frozen=True, slots=True)
class Named:
    """A work named in a text: its key in the register, and where its year ends."""

    key: str
    end: int


def works_named(text: str) -> Iterator[Named]:
    """Yield what a text names by authors and year, as in `Bland & Altman 1999, 2007`, in order."""
    works, pattern = _marks()
    for found in pattern.finditer(text):
        for year in re.finditer(r"\d{4}", found["years"]):
            key = works.get((found["authors"], year[0]))
            if key is not None:
                yield Named(key, found.start("years") + year.end())


@cache
def _marks() -> tuple[Mapping[tuple[str, str], str], re.Pattern[str]]:
    """Return keys by authors and year, and what finds both in a text."""
    several: dict[tuple[str, str], list[str]] = {}
    for key, work in register_of_citations().items():
        several.setdefault((work.named, work.year), []).append(key)
    # Two works of one name and year cannot be told apart, and are not named in our texts so.
    works = {name: keys[0] for name, keys in several.items() if len(keys) == 1}
    authors = sorted({name for name, _ in works}, key=len, reverse=True)
    either = "|".join(map(re.escape, authors))
    return works, re.compile(
        rf"(?<!\w)(?P<authors>{either}) (?P<years>\(?\d{{4}}(?:, \d{{4}})*)(?!\d)"
    )
