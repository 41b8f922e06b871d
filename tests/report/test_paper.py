"""The paper kit: three formats of one table, texts with references, checklists."""

import csv
import io
import re
import zipfile
from dataclasses import replace

import pytest

from twinangle.agreement.equivalence import Equivalence
from twinangle.report.citations import register_of_citations
from twinangle.report.limits import limits_table
from twinangle.report.paper.bibliography import as_bibtex, numbered, reference_list
from twinangle.report.paper.checklists import CHECKLISTS, checklist_document
from twinangle.report.paper.latex import _SPECIAL, as_latex, escaped
from twinangle.report.paper.rounded import mean_and_sd, with_ends
from twinangle.report.paper.table_csv import as_csv
from twinangle.report.paper.tables import covariate_name, paper_tables
from twinangle.report.paper.texts import methods_document, results_document
from twinangle.report.paper.word import as_docx

# Names that are commands, tags or formulas to one format or another.
NASTY = ("=1+1", r"\input{x}", "A&B_50%", "<w:t>#$^~", "[x]{y}|z")


@pytest.fixture(scope="module")
def nasty(build_results):
    found = build_results(participants=NASTY, conditions=("indoor", "50% & more_"), n=8)
    covariates = {"age_years": 30.0, "speed_m_s": 1.25, "=group": "@a"}
    trials = tuple(replace(trial, covariates=covariates) for trial in found.trials)
    return replace(found, trials=trials)


@pytest.fixture(scope="module")
def tables(nasty):
    return {table.name: table for table in paper_tables(nasty)}


def from_csv(table):
    rows = list(csv.reader(io.StringIO(as_csv(table))))
    return [[cell.removeprefix("'") for cell in row] for row in rows]


def from_latex(table):
    """Read the rows back: every escape undone, the longest first."""
    body = as_latex(table).split(r"\toprule")[1].split(r"\bottomrule")[0]
    back = sorted(
        ((b, a) for a, b in _SPECIAL.items() if b.strip()), key=lambda pair: -len(pair[0])
    )
    undo = re.compile("|".join(re.escape(text) for text, _ in back))
    found = []
    for line in body.replace(r"\midrule", "").strip().splitlines():
        if line.strip():
            cells = re.split(r"(?<!\\) & ", line.removesuffix(r" \\"))
            found.append([undo.sub(lambda m: dict(back)[m[0]], cell) for cell in cells])
    return [[cell.removeprefix("{").removesuffix("}") if cell.startswith("{[") else cell
             for cell in row] for row in found]  # fmt: skip


def from_docx(data):
    from docx import Document

    shown = Document(io.BytesIO(data)).tables
    return [[[cell.text for cell in row.cells] for row in table.rows] for table in shown]


def test_every_table_an_article_needs_is_there(tables):
    assert list(tables) == [
        "participants", "characteristics", "limits_of_agreement", "curves", "variability",
        "conditions", "procedures", "error_budget", "without_each_participant",
    ]  # fmt: skip
    for table in tables.values():
        assert table.notes
        assert any(
            note.startswith(("n:", "Participants:", "20 ", "10 ")) for note in table.notes
        ), table.name
        assert all(len(row) == len(table.head) for row in table.rows)


def test_three_formats_hold_the_same_cells(nasty, tables):
    in_word = from_docx(as_docx(nasty.title, list(tables.values())))
    for table, shown in zip(tables.values(), in_word, strict=True):
        expected = [list(row) for row in (table.head, *table.rows)]
        assert from_csv(table) == expected
        assert from_latex(table) == expected
        assert shown == expected


def test_numbers_are_those_of_the_results(nasty, tables):
    limits = nasty.limits[0].value.limits
    row = tables["limits_of_agreement"].rows[0]
    shown = re.findall(r"−?\d+(?:\.\d+)?", row[tables["limits_of_agreement"].head.index("Bias")])
    bias, low, high = (float(text.replace("−", "-")) for text in shown)
    half = (limits.bias_ci[1] - limits.bias_ci[0]) / 2
    assert bias == pytest.approx(limits.bias, abs=0.05 * half)
    assert low <= limits.bias_ci[0]  # a printed interval is never narrower
    assert high >= limits.bias_ci[1]


def numbers_of(cells):
    """Every number in cells with the half of its last digit, its sign and order kept."""
    text = " ".join(cells).replace("−", "-")
    found = re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?", text)
    return [(float(each), 10.0 ** -len(each.partition(".")[2])) for each in found]


def test_the_kit_and_the_report_differ_by_rounding_alone(nasty, tables):
    """The kit rounds by the uncertainty and ends of intervals outwards, the report to 0.01."""
    kit, report = tables["limits_of_agreement"], limits_table(nasty, nasty.limits)
    assert len(kit.rows) == len(report["rows"]) > 1
    for ours, theirs in zip(kit.rows, report["rows"], strict=True):
        for name in ("Bias", "Lower limit", "Upper limit"):
            one = numbers_of([ours[kit.head.index(name)]])
            other = numbers_of([theirs[list(report["head"]).index(name)]])
            assert len(one) == len(other) > 0
            for (a, step), (b, _) in zip(one, other, strict=True):
                assert abs(a - b) <= step + 0.005 + 1e-9, (name, a, b)


def test_names_are_no_formulas_and_no_commands(tables):
    text = as_csv(tables["participants"])
    assert "\n'=1+1," in text
    assert "'=group" in text.splitlines()[0]
    for table in tables.values():
        latex = as_latex(table)
        assert r"\input" not in latex
        bare = re.sub(r"\\[a-zA-Z]+(\{\}|\{2\})?|\\[%&_#${}\\,]|\$[-a-z\\]+\$", "", latex)
        inside = bare.split("\n", 1)[1]
        assert not re.search(r"[#^~]", inside), table.name
    assert escaped("a_b") == r"a\_b"


def test_word_has_the_same_bytes_each_time_and_no_date(nasty, tables):
    data = as_docx(nasty.title, list(tables.values()))
    assert data == as_docx(nasty.title, list(tables.values()))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        said = archive.read("docProps/core.xml").decode()
        assert set(re.findall(r"(\d{4})-\d\d-\d\dT", said)) == {"1980"}
        assert "python-docx" not in said
        assert b"<w:tblHeader/>" in archive.read("word/document.xml")


def test_rounding_follows_the_uncertainty():
    # Two digits of the uncertainty: JCGM 100:2008, 7.2.6 (from memory).
    assert with_ends(1.2345, (-0.3333, 2.8023)) == "1.2 (−0.4 to 2.9)"
    assert mean_and_sd(38.5, 12.66) == "38 ± 13"
    assert mean_and_sd(1.2917, 0.0665) == "1.292 ± 0.066"
    assert with_ends(float("nan"), (float("nan"),) * 2) == "–"
    assert covariate_name("age_years") == "age (years)"
    assert covariate_name("_s") == " s"


def test_methods_tell_of_every_analysis_that_is_reported(nasty):
    text, works = methods_document(nasty)
    for words in (
        "set beforehand as acceptable", "band that holds at all points at once",
        "without each participant in turn", "Limits are also given as", "over all pairs",
        "taken apart into", "magnetic field", "Laidig & Seel 2023 [", "own method",
        "[fill in: ethics", "twinangle export", "Sample size", "numpy",
    ):  # fmt: skip
        assert words in text, words
    numbers = {int(n) for n in re.findall(r" \[(\d+)\]", text)}
    assert numbers == set(range(1, len(works) + 1))
    listed = text.split("## References\n\n")[1].strip().splitlines()
    assert listed == reference_list(works)
    bib = as_bibtex(works)
    assert re.findall(r"^@\w+\{(.+),$", bib, re.M) == [work.key for work in works]
    assert all(f"% {work.key}: {register_of_citations()[work.key].checked}" in bib
               for work in works)  # fmt: skip


def test_references_are_numbered_in_the_order_they_are_named():
    shown, works = numbered(["After Lin 1989.", "And Weir 2005, Lin 1989."])
    assert shown == ["After Lin 1989 [1].", "And Weir 2005 [2], Lin 1989 [1]."]
    assert [work.year for work in works] == ["1989", "2005"]


def test_what_was_not_done_is_not_told(build_results):
    alone = build_results(participants=("P01",), reference=(), procedures=("vqf",), n=8)
    text, _ = methods_document(alone)
    for words in ("Limits are also", "over all pairs", "in turn", "taken apart", "kalman is"):
        assert words not in text
    found = results_document(alone)
    assert "None had a reference: accuracy was not measured." in found
    assert "## Limits" not in found


def test_results_say_the_numbers_of_the_tables(nasty, tables):
    text = results_document(nasty)
    head = tables["limits_of_agreement"].head
    for row in tables["limits_of_agreement"].rows:
        assert row[head.index("Upper limit")] in text.replace("°", "")
    assert "the largest change comes of leaving out" in text


def test_checklists_answer_every_item_or_leave_it_to_the_authors(nasty):
    # Lengths of the lists: Kottner et al. 2011, 15; Gerke 2020, 16; Mokkink et al. 2020, 6 on
    # design, and 2 of those on statistics.
    assert [len(each.items) for each in CHECKLISTS] == [15, 16, 8]
    for each in CHECKLISTS:
        text = checklist_document(each, nasty)
        rows = re.findall(r"^\| (\d+) \| (.+) \| (.+) \|$", text, re.M)
        assert [row[0] for row in rows] == [str(k + 1) for k in range(len(each.items))]
        assert any("for the authors" in row[2] for row in rows)
    bare = replace(nasty, options=replace(nasty.options, margin_deg=None))
    assert "no margin was stated" in checklist_document(CHECKLISTS[1], bare)
    assert isinstance(nasty.equivalence[0].value, Equivalence)


def test_the_kit_lies_in_its_folder(written):
    paper = written / "paper"
    there = {path.relative_to(paper).as_posix() for path in paper.rglob("*") if path.is_file()}
    for name in (
        "methods.md", "results.md", "references.bib", "figures/captions.md", "tables/notes.md",
        "tables/tables.docx", "tables/limits_of_agreement.tex", "checklists/grras.md",
        "figures/participants_178mm.svg", "figures/distribution_178mm.pdf",
        "figures/limits-answer_88mm.pdf", "figures/group-curves_indoor_88mm.svg",
    ):  # fmt: skip
        assert name in there, name
    assert not any(name.split("/")[-1].startswith(".") for name in there)
    # Drawn once: the kit's SVG are those of the report.
    for path in (paper / "figures").glob("*.svg"):
        name = re.sub(r"_\d+mm$", "", path.stem)
        assert path.read_bytes() == (written / "figures" / f"{name}.svg").read_bytes()
    captions = (paper / "figures" / "captions.md").read_text(encoding="utf-8")
    for name in {re.sub(r"_\d+mm\.\w+$", "", n.split("/")[1]) for n in there if "mm." in n}:
        assert f"**{name}**" in captions
