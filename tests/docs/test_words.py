"""Every abbreviation of the documents is in the glossary, and their spelling is British."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = [
    ROOT / "README.md",
    *(page for page in sorted((ROOT / "docs").rglob("*.md")) if "_build" not in page.parts),
]
WHERE_GENERATED = {
    "CSS", "HTML", "PNG", "GB", "OUT", "STUDY", "CC", "BY", "PORT", "HOST", "NAME",
}  # fmt: skip
GLOSSARY = (ROOT / "docs/reference/glossary.md").read_text("utf-8")
SHORT = re.compile(r"(?<![\w./+-])([A-Z]{2,5})s?(?![\w/])")
# Names of file formats, of units and of a licence, and words that stand in capitals in files.
NAMES = {
    "BDF", "BOM", "BSD", "CSS", "CSV", "DOCX", "EDF", "HTML", "IEEE", "JSON", "PDF", "PNG", "SVG",
    "TIFF", "TOML", "TSV", "UTF", "XLSX", "KB", "MB", "GB", "CC", "BY", "NA", "EVENT",
    "DIR", "STUDY", "OUT", "PORT", "HOST", "NAME",
}  # fmt: skip


def prose(page):
    text = re.sub(r"```.*?```|<!--.*?-->", "", page.read_text("utf-8"), flags=re.DOTALL)
    return re.sub(r"`[^`]*`|\]\([^)]*\)", "", text)


def terms():
    body = GLOSSARY.split("```{glossary}\n")[1].split("\n```")[0]
    return [line for line in body.split("\n") if line and not line.startswith(" ")]


def abbreviations(text):
    return set(SHORT.findall(text))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_abbreviation_is_explained(page):
    explained = abbreviations("\n".join(terms()))
    assert abbreviations(prose(page)) - NAMES - explained == set()


def test_the_glossary_explains_each_once_in_order():
    heads = terms()
    assert heads == sorted(heads, key=str.lower)
    said = [each for head in heads for each in SHORT.findall(head)]
    assert len(said) == len(set(said)) > 15
    assert not set(said) & NAMES


def test_no_name_is_excused_that_nobody_uses_any_more():
    used = set().union(*(abbreviations(prose(page)) for page in PAGES))
    assert used >= NAMES - {
        "PORT",
        "HOST",
        "NAME",
        "CSS",
        "HTML",
        "PNG",
        "GB",
        "OUT",
        "STUDY",
        "CC",
        "BY",
    }


def test_an_american_word_is_told_and_a_british_one_is_not(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("The color of the center. The colour of the centre. A `color` and color=red.")
    call = [sys.executable, str(ROOT / "docs/extensions/spelling.py"), str(page)]
    told = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=False).stdout
    assert [line.split(": ")[1] for line in told.splitlines()] == [
        "color ==> colour",
        "center ==> centre",
    ]
