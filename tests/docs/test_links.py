"""Every link and anchor of the documents resolves, every page is reached; others by form."""

from __future__ import annotations

import itertools
import re
from functools import cache
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from markdown_it import MarkdownIt

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(
    page
    for page in (
        *ROOT.glob("*.md"),
        *ROOT.glob("*/*.md"),
        *DOCS.rglob("*.md"),
        *ROOT.glob(".github/*/*.md"),
    )
    if not {".venv", "_build"} & set(page.relative_to(ROOT).parts)
)
PAGES = list(dict.fromkeys(PAGES))


@cache
def tokens_of(page):
    found = []
    for token in MarkdownIt("commonmark").enable("table").parse(page.read_text("utf-8")):
        found += [token, *(token.children or ())]
    return found


def slug(heading):
    """Return the anchor of a heading as code hosts and the site make it."""
    return re.sub(r"[^\w\- ]", "", heading.lower().strip()).replace(" ", "-")


@cache
def anchors_of(page, reference=None):
    found, tokens = set(), tokens_of(page)
    for token, inline in itertools.pairwise(tokens):
        if token.type == "heading_open":
            text = "".join(part.content for part in inline.children if part.type != "html_inline")
            found.add(slug(text))
    return found


def links_of(page):
    for token in tokens_of(page):
        if token.type == "link_open":
            yield token.attrGet("href")
        elif token.type == "image":
            yield token.attrGet("src")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_link_resolves(page):
    for link in links_of(page):
        parts = urlsplit(link)
        if parts.scheme:
            assert parts.scheme in ("https", "mailto"), link
            assert "." in (parts.netloc or parts.path), link
            continue
        target = (page.parent / unquote(parts.path)).resolve() if parts.path else page
        assert target.is_relative_to(ROOT), link
        assert target.exists(), link
        if parts.fragment:
            assert parts.fragment in anchors_of(target), f"{link}: no such heading"


def test_links_and_headings_are_seen(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("# A `key` of [it](x.md#a-b)\n\n![seen](y.png)\n\n`[not](z.md)`\n")
    assert list(links_of(page)) == ["x.md#a-b", "y.png"]
    assert anchors_of(page) == {"a-key-of-it"}


def test_links_are_called_by_what_they_lead_to():
    pages = [ROOT / "README.md", *(page for page in PAGES if page.is_relative_to(DOCS))]
    named = [
        f"{page.relative_to(ROOT)}: {text}"
        for page in pages
        for text in re.findall(r"\[([^\]\[`]*\.md)\]\(", page.read_text("utf-8"))
    ]
    assert named == []


def test_every_page_is_in_the_site_once():
    index = (DOCS / "index.md").read_text("utf-8")
    listed = [
        line
        for block in re.findall(r"```{toctree}\n(.*?)```", index, re.DOTALL)
        for line in block.split("\n")
        if "/" in line
    ]
    assert len(listed) == len(set(listed))
    pages = {page.relative_to(DOCS).with_suffix("").as_posix() for page in DOCS.glob("*/*.md")}
    by_pattern = {page for page in pages if f"{page.split('/')[0]}/*" in listed}
    assert pages == by_pattern | {name for name in listed if not name.endswith("*")}


def test_the_site_gives_the_cautions_of_the_readme_and_little_else_before_the_pages():
    texts = [
        (ROOT / name).read_text("utf-8").replace("(docs/", "(")
        for name in ("README.md", "docs/index.md")
    ]
    cautions = [[line for line in text.splitlines() if line.startswith(">")] for text in texts]
    assert cautions[0]
    assert cautions[0] == cautions[1]
    opening = texts[1].split("## Where to read on")[0]
    assert len(opening.split()) < 220  # less than a minute
    assert "not a medical device" in opening


def test_every_benchmark_has_its_row():
    text = (ROOT / "benchmarks/README.md").read_text("utf-8")
    nightly = (ROOT / ".ci/nightly").read_text("utf-8")
    for path in (ROOT / "benchmarks").glob("*.py"):
        assert path.name in text or f"benchmarks.{path.stem}`" in text, path.name
        row = [
            line
            for line in text.split("\n")
            if f"benchmarks/{path.name}" in line or f"benchmarks.{path.stem}`" in line
        ]
        in_nightly = f"/{path.name}" in nightly or f"benchmarks.{path.stem}\n" in nightly
        assert in_nightly == any("| nightly: `" in line for line in row), path.name
