"""What is called printed was seen in print; every published value says how it is known."""

from __future__ import annotations

import ast
import csv
import re
from pathlib import Path

import pytest

from twinangle.report.citations import register_of_citations

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "tests/published"
KINDS = ("printed", "second-hand", "from memory")
CLAIM = re.compile(r"\bprinted\b|\bin print\b|\(P\)", re.I)
NOT_A_SOURCE = {"conftest.py", "test_marks.py"}
SOURCES = sorted(path for path in FOLDER.glob("*.py") if path.name not in NOT_A_SOURCE)


def rows() -> list[dict[str, str]]:
    path = ROOT / "reference_data/published_values.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def keys_used(path: Path) -> set[str]:
    """Every work that a test file names by its key."""
    texts = (n.value for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.Constant))
    return {text for text in texts if isinstance(text, str)} & {row["key"] for row in rows()}


def unsupported(rows: list[dict[str, str]]) -> list[str]:
    """Name the rows that claim more than they can show."""
    found = []
    for row in rows:
        name = f"{row['key']}, {row['quantity']}"
        if row["kind"] not in KINDS:
            found.append(f"{name}: kind {row['kind']!r}")
        elif row["kind"] == "second-hand" and not row["seen"]:
            found.append(f"{name}: second-hand, but from where?")
        elif row["kind"] == "printed":
            file = ROOT / row["seen"]
            inside = file.is_file() and file.parent == ROOT / "reference_data"
            if not (inside and row["value"] in file.read_text(errors="replace")):
                found.append(f"{name}: printed, but {row['seen']!r} does not hold {row['value']}")
    return found


def false_claims(text: str, kinds: set[str]) -> list[str]:
    """Return the words of a file that call something printed which is not."""
    return [] if kinds == {"printed"} else CLAIM.findall(text)


def test_every_value_can_show_its_kind():
    assert unsupported(rows()) == []


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.name)
def test_a_file_that_speaks_of_print_has_printed_values_alone(path):
    kinds = {row["kind"] for row in rows() if row["key"] in keys_used(path)}
    assert false_claims(path.read_text(), kinds) == []


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.name)
def test_a_file_takes_its_values_from_the_table_and_states_their_kinds(path):
    used = keys_used(path)
    assert used, f"{path.name} uses no published value; recomputed ones belong elsewhere"
    said = (ast.get_docstring(ast.parse(path.read_text())) or "").partition("Kinds:")[2]
    for kind in {row["kind"] for row in rows() if row["key"] in used}:
        assert kind in said, f"{path.name} does not say {kind!r}"


def test_every_value_is_used_and_its_work_is_in_the_register():
    used = set().union(*(keys_used(path) for path in SOURCES))
    assert {row["key"] for row in rows()} == used
    assert used <= set(register_of_citations())


def test_documents_call_no_published_value_printed_that_is_not():
    """A paragraph of the documents that cites a work and speaks of print."""
    cited = re.compile(r"[A-Z]\w+ (?:et al\. )?\(?(?:1[89]|20)\d\d")
    paths = [*(ROOT / "docs").rglob("*.md"), ROOT / "reference_data/README.md"]
    looked_at = 0
    for path in paths:
        for paragraph in re.split(r"\n\s*\n", path.read_text()):
            if cited.search(paragraph) and "`seen`" not in paragraph:
                found = re.findall(r"\b(?:the|is|are|was) printed\b|printed \d", paragraph)
                assert found == [], f"{path.name}: {found}"
                looked_at += 1
    assert looked_at > 10


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"seen": "a paper"}, "does not hold"),
        ({"seen": "reference_data/README.md"}, "does not hold"),
        ({"value": "9.9"}, "does not hold"),
        ({"kind": "published"}, "kind 'published'"),
        ({"kind": "second-hand", "seen": ""}, "from where"),
    ],
)
def test_a_false_claim_is_found(change, said):
    (row,) = [r for r in rows() if (r["key"], r["quantity"]) == ("nist-strd", "slope")]
    assert unsupported([row]) == []
    (found,) = unsupported([row | change])
    assert said in found


def test_a_word_of_print_about_a_remembered_value_is_found():
    assert false_claims("# Printed: 0.17", {"from memory", "second-hand"}) == ["Printed"]
    assert false_claims("# The certified value is printed.", {"printed"}) == []
