"""Titles and names that would steer a terminal, hide text or be taken for formulas."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from types import SimpleNamespace

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle import closing
from twinangle.report.content import report_content
from twinangle.report.methods import methods_text
from twinangle.results.tables.columns import Column
from twinangle.results.tables.csv_files import PRINTABLE, csv_lines, write_csv
from twinangle.visible import make_visible, visible_texts

# Escape, C1, override, isolate, mark (Unicode Standard Annex 9), line separator.
ODD = "\x1b[31m\x9b\u202e\u2066\u200f\u2028"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31mred", r"\x1b[31mred"),
        ("a\u202eb", r"a\u202eb"),
        ("line\nline\t", r"line\x0aline\x09"),
        ("Größe 膝 😀 عربي", "Größe 膝 😀 عربي"),
    ],
)
def test_odd_characters_are_shown_as_their_codes(text, shown):
    assert make_visible(text) == shown
    assert make_visible("a\nb\x07", keep="\n") == "a\nb\\x07"


@given(st.text())
def test_what_is_shown_holds_nothing_odd_and_stays_when_shown_again(text):
    shown = make_visible(text)
    assert all(char.isprintable() or ord(char) >= 0xA0 for char in shown)
    assert not set(shown) & set(
        "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"
    )
    assert make_visible(shown) == shown


def odd_study(study):
    first, *rest = study.trials
    first = replace(first, participant=f"P01{ODD}", warnings=(f"odd {ODD}",))
    return replace(study, title=f"Title {ODD}[/b] :warning:", trials=(first, *rest))


def test_what_holds_no_odd_character_is_the_same_object(study):
    assert visible_texts(study) is study


def test_results_are_shown_without_odd_characters(study):
    shown = visible_texts(odd_study(study))
    texts = (methods_text(shown), str(report_content(shown, {})))
    assert all(char not in text for text in texts for char in ODD if char not in "[31m")
    assert r"Title \x1b[31m\x9b\u202e" in shown.title
    assert shown.trials[0].participant.startswith(r"P01\x1b[31m")
    assert shown.trials[1] is study.trials[1]


def test_closing_words_take_a_title_as_it_is(study, tmp_path, capsys):
    closing.print_closing(odd_study(study), tmp_path)
    said = capsys.readouterr().out
    assert "[/b] :warning:" in said
    assert r"\x1b[31m" in said
    assert not any(char in said for char in ODD if char not in "[31m")
    assert "report.pdf" in said


def both_files(folder, cells):
    """Write one row, as it is and printed; `cells` are texts by the columns' names."""
    (folder / PRINTABLE).mkdir()
    columns = tuple(Column(name, "string", "", "", f"f{k}") for k, name in enumerate(cells))
    row = SimpleNamespace(**{f"f{k}": cell for k, cell in enumerate(cells.values())})
    return write_csv(folder, "t", columns, csv_lines(columns, [row]))


FORMULAS = ("=1+1", '=HYPERLINK("x")', "+cmd", "-cmd", "@SUM(A1)")


@pytest.mark.parametrize("text", FORMULAS)
def test_text_that_a_spreadsheet_takes_for_a_formula_is_escaped(tmp_path, text):
    """The rule is common practice (an apostrophe before the cell); no source."""
    for path in both_files(tmp_path, {"a": text, text: "-1.5"}):
        with path.open(newline="", encoding="utf-8") as file:
            header, row = csv.reader(file)
        assert header == ["a", f"'{text}"]
        assert row == [f"'{text}", "-1.5"]


def test_an_escaped_cell_is_text_to_a_library_of_spreadsheets(tmp_path):
    path, _ = both_files(tmp_path, {"a": "=1+1"})
    sheet = openpyxl.Workbook().active
    for row in csv.reader(io.StringIO(path.read_text())):
        sheet.append(row)
    sheet.append(["=1+1"])
    assert [cell.data_type for cell in sheet["A"]] == ["s", "s", "f"]


@pytest.mark.parametrize(("text", "cell"), [("\t=1", r"\x09=1"), ("\r=1", r"\x0d=1")])
def test_a_tab_or_a_carriage_return_before_a_formula_is_shown(tmp_path, text, cell):
    for path in both_files(tmp_path, {"a": text}):
        assert path.read_text() == f"a\n{cell}\n"


@pytest.mark.parametrize("text", ["-1", "+2.5", "-1e-3", "P-1", "a=b", ""])
def test_numbers_and_other_text_stand_as_they_are(tmp_path, text):
    for path in both_files(tmp_path, {"a": text, "b": "1"}):
        assert path.read_text() == f"a,b\n{text},1\n"
