"""A work that a text of ours names is found in the register, so that it gets its reference."""

import ast
import re
from pathlib import Path

import pytest

from twinangle.report.citations import register_of_citations, works_named
from twinangle.report.methods import cited
from twinangle.report.paper.bibliography import numbered

SOURCES = Path(__file__).resolve().parents[2] / "src" / "twinangle"
# Authors and a year, however the authors are told: what a reader takes for a citation.
CITED = re.compile(r"(?:(?<=\W)|^)((?:de |von |van )?[A-ZÄÖÜ][\w’-]+(?: et al\.| & [A-Z][\w’-]+)?"
                   r"(?:,? \(?(?:18|19|20)\d\d)+)")  # fmt: skip
# Words before a year in texts that name no author.
NO_WORKS = ("Copyright", "PDF", "ISO", "Draft")


def texts_of(path):
    """Every text of a module that is no docstring, with its parts put together."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    bare = {
        node.body[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(v.value) if isinstance(v, ast.Constant) else "…" for v in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in bare:
            yield node.value


def citations_in(text):
    return [each for each in CITED.findall(text) if not each.startswith(NO_WORKS)]


def test_every_work_that_a_paragraph_names_has_a_reference():
    found = {}
    for path in sorted((SOURCES / "report").rglob("*.py")):
        for text in texts_of(path):
            if citations_in(text):
                found[f"{path.name}: {text[:60]}"] = (citations_in(text), list(works_named(text)))
    assert len(found) >= 12
    without = {k: said for k, (said, works) in found.items() if len(works) < len(said)}
    assert without == {}


def test_a_work_without_an_entry_gets_none_and_is_seen_by_this_test():
    text = "after Nobody et al. " + "2014"
    assert citations_in(text) == ["Nobody et al. " + "2014"]
    assert list(works_named(text)) == []


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("(Bland & Altman 1999, 2007)", ["bland-altman-1999", "bland-altman-2007"]),
        ("Lin 1989; after Frank" + "lin 1989", ["lin-1989"]),
        ("as Aminian et al. 2002 and Zou (2013)", ["aminian-2002", "zou-2013"]),
        ("P01 2007, session 2013", []),
    ],
)
def test_works_are_found_by_authors_and_year(text, keys):
    assert [found.key for found in works_named(text)] == keys
    assert all(text[found.end - 4 : found.end].isdigit() for found in works_named(text))


def test_numbers_stand_behind_the_years():
    shown, works = numbered(["Bland & Altman 1999, 2007.", "Zou 2013, Bland & Altman 2007."])
    assert shown == ["Bland & Altman 1999 [1], 2007 [2].", "Zou 2013 [3], Bland & Altman 2007 [2]."]
    assert len(cited(("Bland & Altman 1999, 2007", "Zou 2013"))) == len(works) == 3


def test_two_works_of_one_name_and_year_are_not_mistaken_for_each_other():
    works = [(work.named, work.year) for work in register_of_citations().values()]
    for name, year in {each for each in works if works.count(each) > 1}:
        assert list(works_named(f"{name} {year}")) == []
