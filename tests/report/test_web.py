"""The page for a browser, without a browser: what the PDF says, whole, inert and alone."""

import base64
import hashlib
import itertools
import json
import re
from dataclasses import asdict
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.parallel import Workers
from twinangle.plotting.looks import drawing_style, new_figure, rendered
from twinangle.plotting.thinning import thinned_pair
from twinangle.report.content import report_content
from twinangle.report.figure_files import drawings_in
from twinangle.report.figures import (
    ALL_POINTS,
    TRACE_POINTS,
    TRACES,
    points_each,
    taken,
    write_figures,
)
from twinangle.report.web import report_page
from twinangle.report.web.drawing import Drawings
from twinangle.report.web.explorer import explorer_data
from twinangle.report.web.markup import as_data, element, phrase
from twinangle.report.web.rendering import Rendering, alternative
from twinangle.results.grouping import trial_groups
from twinangle.visible import make_visible

VOID = {"meta", "br", "wbr", "link", "img", "input"}
ODD = "</script><script>alert(1)</script>\"'&amp;<img src=x onerror=alert(2)>{{x}}😀 ‮\x00膝"


class Reader(HTMLParser):
    """Elements with their attributes, the texts shown, and the scripts and styles of a page."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.elements, self.shown, self.raw, self._open = [], [], {"script": [], "style": []}, []
        self.feed(page)
        assert not self._open, self._open

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        if self._open and self._open[-1] in self.raw:
            self.raw[self._open[-1]].append(data)
        else:
            self.shown.append(data)

    def all(self, tag):
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self):
        return plain("".join(self.shown))


def plain(text):
    """As it is read; keys of the study file have a typeface in place of the marks around them."""
    text = re.sub(r"`([A-Za-z_][^`]*)`", r"\1", text)
    return " ".join(text.replace("\u200b", "").replace("\u00a0", " ").split())


def made(results, folder):
    """The page and the content that it was made from."""
    folder.mkdir(exist_ok=True)
    with Workers(1) as workers:
        figures = write_figures(results, folder, workers)
    content = report_content(results, figures)
    drawings, traces = drawings_in(folder, figures), taken(folder, TRACES)
    return report_page(results, content, drawings, traces), content


@pytest.fixture(scope="module")
def page_of_a_study(build_results, tmp_path_factory):
    results = build_results(participants=("P01", "P02", "P03", "P04"), n=10, minutes=0.1)
    return made(results, tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="module")
def reader(page_of_a_study):
    return Reader(page_of_a_study[0])


def texts_of(block):
    """Every text that the PDF prints of a block."""
    for key in ("body", "caption"):
        if block.get(key):
            yield block[key]
    yield from block.get("items", ())
    yield from block.get("head", ())
    for row in block.get("rows", ()):
        yield from row
    for each in block.get("blocks", ()):
        yield from texts_of(each)


def all_texts(content):
    yield from (content["title"], content["subtitle"], *content["cautions"])
    for block in content["first"]:
        yield from texts_of(block)
    for section in content["sections"]:
        yield section["title"]
        for block in section["blocks"]:
            yield from texts_of(block)


def test_every_text_and_number_of_the_pdf_is_in_the_page(page_of_a_study, reader):
    texts = [plain(each) for each in all_texts(page_of_a_study[1]) if each]
    assert len([each for each in texts if re.search(r"\d\.\d", each)]) > 50
    assert [each for each in texts if each not in reader.text] == []


def test_tables_hold_the_cells_in_their_order(page_of_a_study, reader):
    tables = [
        block
        for section in page_of_a_study[1]["sections"]
        for block in section["blocks"]
        if block["kind"] == "table"
    ]
    assert len(tables) > 4
    for table in tables:
        cells = plain("".join(cell for row in table["rows"] for cell in row))
        assert cells.replace(" ", "") in reader.text.replace(" ", "")
    assert len(reader.all("table")) == len(tables) + 1  # and the one of the plots
    assert all(each.get("scope") in ("col", "row") for each in reader.all("th"))
    assert len(reader.all("caption")) >= len([t for t in tables if t["caption"]])


def test_every_figure_of_the_report_is_drawn_and_named(page_of_a_study, reader):
    paths = [each for each in json.dumps(page_of_a_study[1]).split('"') if "/figures/" in each]
    assert len(reader.all("svg")) == len(reader.all("figcaption")) == len(paths) > 5
    for svg in reader.all("svg"):
        assert svg["role"] == "img"
        assert len(svg["aria-label"]) > 30
    shown = [f"Figure {k + 1}" for k in range(len(paths))]
    assert all(name in reader.text for name in shown)


def test_ids_are_unique_and_every_mention_leads_to_one(page_of_a_study, reader):
    ids = [each["id"] for _, each in reader.elements if "id" in each]
    assert len(set(ids)) == len(ids)
    page = page_of_a_study[0]
    mentioned = set(re.findall(r'url\(#([\w-]+)\)|href="#([\w-]+)"', page))
    mentioned = {a or b for a, b in mentioned}
    mentioned |= {v for _, e in reader.elements if (v := e.get("aria-labelledby"))}
    mentioned |= {v for _, e in reader.elements if (v := e.get("aria-describedby"))}
    assert len(mentioned) > 30
    assert mentioned <= set(ids)


def test_headings_step_down_by_one(reader):
    levels = [int(tag[1]) for tag, _ in reader.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_the_policy_allows_what_is_there_by_its_hash_and_nothing_else(reader):
    policy = next(m["content"] for m in reader.all("meta") if "content-security" in str(m).lower())
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert "unsafe" not in policy
    assert "http" not in policy

    def hashed(text):
        return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"

    scripts = [s for s in reader.raw["script"] if not s.startswith("[{")]
    assert set(rules["script-src"].split()) == {hashed(each) for each in scripts}
    assert rules["style-src"] == hashed("".join(reader.raw["style"]))
    for _, attributes in reader.elements:
        assert "style" not in attributes  # which the policy would not let through
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href", "action"):
            assert attributes.get(name, "#").startswith("#")
    assert "@import" not in "".join(reader.raw["style"])
    assert not re.findall(r"url\((?!data:font|#)", "".join(reader.raw["style"]))


def test_names_are_shown_and_never_read_as_markup(build_results, tmp_path):
    results = build_results(
        participants=(ODD, "P/1"), conditions=(ODD,), reference=(ODD,), procedures=("a<b>",),
        title=ODD, n=6, minutes=0.1,
    )  # fmt: skip
    page, _ = made(results, tmp_path)
    reader = Reader(page)
    assert plain(make_visible(ODD)) in reader.text
    assert not reader.all("img")
    assert [list(each) for each in reader.all("script")] == [["type", "id"], [], []]
    data = json.loads(next(each for each in reader.raw["script"] if each.startswith("[{")))
    assert data[0]["name"].startswith(ODD[:30])
    assert "\x00" not in page
    assert "\u202e" not in page


@given(st.text(max_size=40))
def test_any_text_comes_back_as_it_would_be_shown(text):
    reader = Reader(element("p", phrase(text), title=text))
    assert plain("".join(reader.shown)) == plain(make_visible(text, keep="\n"))
    assert len(reader.elements) == 1 + phrase(text).count("<wbr>")


@given(st.recursive(st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))
def test_data_cannot_leave_their_element(value):
    text = as_data(value)
    assert json.loads(text) == value
    assert not set("<>&\u2028\u2029") & set(text)


def test_a_figure_twice_shares_no_id_and_no_style():
    with drawing_style():
        figure = new_figure(88, 40)
        axes = figure.subplots()
        axes.barh([0], [3], hatch="....", color="#123456", edgecolor="#ffffff")
        axes.plot([0, 1], [0, 1], "o", color="#654321", clip_on=True)
        axes.set_title("5 < 6 & P\ufffe1")
        svg = rendered(figure, "svg").decode()
        assert svg == rendered(figure, "svg").decode()
    drawings = Drawings()
    first, second = drawings.fitted(svg, 'a "b"'), drawings.fitted(svg, "b")
    ids = [set(re.findall(r'id="([^"]+)"', each)) for each in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert 'aria-label="a &quot;b&quot;"' in first
    assert "5 &lt; 6 &amp; P\ufffd1" in first
    assert "style=" not in first
    assert "fill: #654321; stroke: #654321" in drawings.styles()
    assert len(first) < len(svg) < 9000  # the hatch's dots once, not all over the page


def test_a_stated_alternative_goes_before_caption_and_kind():
    block = {"caption": "Curves: a, b. More.", "alternative": "Mean curves."}
    assert alternative(block) == "Mean curves. Curves: a, b."
    assert alternative({**block, "alt": "Both alike."}) == "Both alike."


def test_a_kind_of_block_that_is_not_known_is_no_silent_hole():
    with pytest.raises(ValueError, match="'riddle'"):
        Rendering({}).section("x", [{"kind": "riddle"}])


def test_traces_that_were_not_kept_are_told_of(build_results, page_of_a_study):
    results = build_results(participants=("P01",), procedures=("a",), n=8, minutes=0.1)
    page = report_page(results, report_content(results, {}), {}, {})
    said = Reader(page).text
    assert "The traces of 2 recordings were not kept with the results." in said
    assert "were not kept" not in page_of_a_study[0]


def test_forty_recordings_of_ten_minutes_stay_within_three_megabytes(build_results):
    results = build_results(
        participants=("P01",), conditions=("in",), reference=("in",), procedures=("a",), n=5,
        minutes=10,
    )  # fmt: skip
    trace = json.dumps(asdict(thinned_pair(results.trials[0].paired, points_each(40))))
    stem = trial_groups(results)[0].stem
    data = as_data(explorer_data(results, {stem: trace}))
    assert 40_000 < len(data) < 70_000  # of each; figures, typeface and script add about 0.5 MB


@pytest.mark.parametrize(("n", "points"), [(1, 6000), (40, 6000), (80, 3000), (500, 480)])
def test_all_recordings_share_the_room(n, points):
    assert points_each(n) == points <= TRACE_POINTS
    assert n * points_each(n) <= ALL_POINTS or n < 40
