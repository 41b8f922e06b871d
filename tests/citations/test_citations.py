"""Every work that is cited has an entry in the register, which says how it was checked."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from twinangle.report.citations import Citation, register_of_citations

ROOT = Path(__file__).resolve().parents[2]
NAME = r"(?:(?:de|von|van) )?[^\W\d_a-z][\w’'-]+"
# "Bland & Altman (1999)", "Laidig et al. 2021", "Kok, Hol & Schön (2014", "Winter 2009"
CITED = re.compile(
    rf"(?P<first>{NAME})(?P<more>(?:,\s+{NAME})*,?\s+&\s+{NAME}|\s+et\s+al\.)?"
    r"(?:,\s+|\s+)\(?(?P<year>(?:18|19|20)\d\d)(?![\d-])"
)
# Words before a year that name no author: months, standards, and data this project invents.
NOT_AUTHORS = re.compile(
    r"January|February|March|April|May|June|July|August|September|October|November|December|"
    r"BIDS|ISO|CGPM|Schema|The|In|Of|From|Since|And|Both|Table|Jan|Nov|Copyright|Kbit"
)
FROM_MEMORY_WITHIN = 160  # characters behind the year in which the mark has to stand


def plain(name: str) -> str:
    """A surname without marks above its letters: "König" and "Koenig" are one."""
    stripped = unicodedata.normalize("NFKD", name.replace("ø", "o").replace("Ø", "O"))
    letters = "".join(c for c in stripped if not unicodedata.combining(c)).lower()
    return re.sub(r"['’s]*$", "", letters)


def first_surname(entry: Citation) -> str:
    return plain(re.split(r",| and ", entry.author.strip("{}"))[0])


@cache
def texts() -> tuple[tuple[str, str], ...]:
    """Every text that may cite: documents, sources, tests and benchmarks."""
    return tuple(_read())


def _read() -> Iterator[tuple[str, str]]:
    for pattern in ("*.md", "docs/**/*.md", "reference_data/*.md"):
        for path in sorted(ROOT.glob(pattern)):
            yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
    for folder in ("src", "tests", "benchmarks"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            if path.resolve() != Path(__file__).resolve():
                yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


@cache
def cited_in(text: str) -> tuple[tuple[str, str, int], ...]:
    """Return surname, year and the place behind the year of every citation in a text."""
    return tuple(
        (found["first"], found["year"], found.end())
        for found in CITED.finditer(text)
        if not (found["first"].isupper() or NOT_AUTHORS.fullmatch(found["first"]))
    )


@cache
def register() -> dict[tuple[str, str], list[Citation]]:
    by_name: dict[tuple[str, str], list[Citation]] = {}
    for entry in register_of_citations().values():
        by_name.setdefault((first_surname(entry), entry.year), []).append(entry)
    return by_name


def missing_from_the_register(text: str) -> list[str]:
    known = register()
    return [
        f"{name} {year}" for name, year, _ in cited_in(text) if (plain(name), year) not in known
    ]


def unmarked(text: str) -> list[str]:
    """Name what nobody looked up and the text does not mark as from memory."""
    known = register()
    found = []
    for name, year, end in cited_in(text):
        entries = known.get((plain(name), year), [])
        behind = re.sub(r"\s+", " ", text[end : end + FROM_MEMORY_WITHIN])
        if entries and all(e.from_memory for e in entries) and "from memory" not in behind:
            found.append(f"{name} {year}")
    return found


def test_every_text_is_looked_at():
    paths = {path for path, _ in texts()}
    assert {"README.md", "docs/background/agreement.md", "reference_data/README.md"} <= paths
    assert {"src", "tests", "benchmarks"} <= {path.partition("/")[0] for path in paths}
    assert len(paths) > 200


def test_what_is_cited_is_in_the_register():
    missing = {path: missing_from_the_register(text) for path, text in texts()}
    assert {path: names for path, names in missing.items() if names} == {}


def test_what_nobody_looked_up_is_marked():
    bare = {path: unmarked(text) for path, text in texts()}
    assert {path: names for path, names in bare.items() if names} == {}


def test_the_register_holds_nothing_that_is_not_cited():
    cited = {(plain(name), year) for _, text in texts() for name, year, _ in cited_in(text)}
    # Cited by name without author and year, or named beside another work's year.
    by_other_words = {
        "nist-handbook",
        "nist-strd",
        "ich-e9-1999",
        "ats-2002",
    }
    unused = {
        key
        for key, entry in register_of_citations().items()
        if (first_surname(entry), entry.year) not in cited and key not in by_other_words
    }
    assert unused == set()


def test_every_entry_says_how_it_was_checked():
    assert len(register_of_citations()) > 50
    for entry in register_of_citations().values():
        assert re.match(r"looked up: .+|from memory", entry.checked), entry.key
        assert entry.author
        assert re.fullmatch(r"(18|19|20)\d\d", entry.year), entry.key
        assert entry.type in {"article", "book", "inproceedings", "misc"}, entry.key
        assert not entry.doi or re.fullmatch(r"10\.\d{4,}/\S+", entry.doi), entry.key
        if entry.type == "article":
            assert entry.volume, entry.key


def test_entries_can_be_written_as_references_and_as_bibtex():
    paper = register_of_citations()["bland-altman-1999"]
    assert paper.reference() == (
        "Bland JM, Altman DG (1999). Measuring agreement in method comparison studies. Statistical "
        "Methods in Medical Research 8:135-160. doi:10.1177/096228029900800204"
    )
    assert "journal = {Statistical Methods in Medical Research}," in paper.bibtex()
    assert "pages = {135--160}," in paper.bibtex()
    assert register_of_citations()["lehmann-2020"].bibtex().count("cited from memory") == 1
    for entry in register_of_citations().values():
        text = entry.bibtex()
        assert text.count("{") == text.count("}")
        assert re.match(rf"@{entry.type}\{{{re.escape(entry.key)},\n", text)


@pytest.mark.parametrize(
    "text",
    [
        "as Nobody & Else (1999) found",
        "(Nobody et al. 2014, Gait Posture 1:1)",
        "Nobody, Else & Other (2014). A paper.",
        "the rule of Nobody 1970",
    ],
)
def test_a_citation_without_an_entry_is_found(text):
    assert missing_from_the_register(text) == [f"Nobody {re.search(r'[0-9]{4}', text)[0]}"]


def test_an_unmarked_citation_that_nobody_looked_up_is_found():
    assert unmarked("bounds (Owen 1964), both") == ["Owen 1964"]
    assert unmarked("bounds (Owen 1964, from memory), both") == []
    assert unmarked("limits (Bland & Altman 1999)") == []
