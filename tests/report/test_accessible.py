"""Report and supplement are PDF/UA-1: read with nothing but the bytes of the files."""

import json
import re
import zlib

import pytest

from twinangle.report.content import report_content, supplement_content
from twinangle.report.document import typeset


def objects_of(pdf):
    """All objects of a PDF as text, those in object streams included (ISO 32000-1, 7.5.7)."""
    parts = [pdf]
    for found in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.S):
        try:
            parts.append(zlib.decompress(found[1]))
        except zlib.error:
            continue
    return b"\n".join(parts)


@pytest.mark.parametrize("name", ["report.pdf", "supplement.pdf"])
def test_pages_are_marked_for_a_screen_reader(written, name):
    # ISO 14289-1, 5 and 7: identification, title shown, language, tags.
    data = objects_of((written / name).read_bytes())
    assert re.search(rb"pdfuaid:part(>|=\")1", data)
    assert re.search(rb"/Marked\s+true", data)
    assert b"/StructTreeRoot" in data
    assert re.search(rb"/DisplayDocTitle\s+true", data)
    assert re.search(rb"/Lang\s*\(en", data)
    figures = [data[m.start() : m.start() + 900] for m in re.finditer(rb"/S\s*/Figure\b", data)]
    assert figures
    assert all(re.search(rb"/Alt\s*[(<]", each) for each in figures)


def test_alternatives_are_sentences_with_numbers(drawn_words):
    assert drawn_words
    for name, said in drawn_words.items():
        assert said.endswith("."), name
        assert re.search(r"\d", said), name
        assert len(said.split()) >= 6, name
        assert "nan" not in said, name


@pytest.fixture(scope="module")
def drawn_words(written):
    """The alternative texts as they stand in the files' titles."""
    found = {}
    for path in (written / "figures").glob("*.svg"):
        title = re.search(r"<title>(.*?)</title>", path.read_text(encoding="utf-8"), re.S)
        found[path.name] = title[1] if title else ""
    return found


def test_headings_begin_at_the_first_level_and_skip_none(study):
    # ISO 14289-1, 7.4: the template's sections are of level 1, headings within of level 2.
    for content in (report_content(study, {}), supplement_content(study, {})):
        assert content["title"]
        kinds = [block["kind"] for section in content["sections"] for block in section["blocks"]]
        assert set(kinds) <= {"text", "list", "heading", "notes", "figure", "row", "table"}


@pytest.mark.parametrize(
    "code",
    ["#strong[x] $a_b$ @c <d> `e` \\f", "参加者一", "مشارك ١", "प्रतिभागी", "😀 \ue000 \uffff"],
)
def test_odd_names_are_typeset_whatever_typefaces_there_are(study, tmp_path, code):
    content = report_content(study, {})
    content["title"] = code
    content["sections"] = [{"title": code, "blocks": [{"kind": "text", "body": code}]}]
    assert typeset(json.loads(json.dumps(content)), tmp_path).startswith(b"%PDF-")
