"""`report.html` in a browser: alone, offline, by pointer, keyboard, screen reader and printer."""

import importlib.util
import json
import re
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.plotting.looks import drawing_style, rendered
from twinangle.plotting.thinning import thinned_pair
from twinangle.report.content import report_content
from twinangle.report.figures import OF_A_STUDY
from twinangle.report.web import report_page
from twinangle.results.grouping import trial_groups

Axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe

_place = Path(__file__).parents[1] / "report" / "conftest.py"
_spec = importlib.util.spec_from_file_location("invented_results", _place)
_invented = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_invented)

LONG = "Ein-sehr-langer-Code-der-nirgends-umbricht-0123456789-膝関節-Größe"
WIDE = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"


def write_page(results, folder):
    """Write the page as a run does, but without the figures' PDFs, and return its address."""
    with drawing_style():
        several = [draw(results) for draw in OF_A_STUDY]
        drawn = [each for one in several for each in (one if isinstance(one, tuple) else (one,))]
        drawings = {
            each.name: rendered(each.figure, "svg").decode() for each in drawn if each is not None
        }
    figures = {each.name: (each.caption, each.alternative) for each in drawn if each is not None}
    traces = {
        group.stem: json.dumps(asdict(thinned_pair(group.main.paired, 6000)))
        for group in trial_groups(results)
        if group.main.paired is not None
    }
    page = report_page(results, report_content(results, figures), drawings, traces)
    path = folder / "report.html"
    path.write_text(page, encoding="utf-8", newline="\n")
    return path.as_uri()


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """The page of a study with a reference indoors only; each wearable has a gap at 3 s."""
    results = _invented.build(participants=("P01", "P02", "P03"), n=12, minutes=0.5)
    return write_page(results, tmp_path_factory.mktemp("page"))


@pytest.fixture
def opened(page, address):
    """The page, opened from the disk; any request but its own file fails the test."""
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    page.wait_for_selector("#trace canvas")
    yield page
    assert [url for url in asked if not url.startswith("data:")] == [address]


def violations(page):
    return [each["id"] for each in Axe().run(page).response["violations"]]


@pytest.mark.parametrize("width", [1280, 320])
@pytest.mark.parametrize("media", ["screen", "print"])
def test_no_rule_of_accessibility_is_broken_and_nothing_moves_sideways(opened, width, media):
    opened.set_viewport_size({"width": width, "height": 900})
    opened.emulate_media(media=media)
    assert violations(opened) == []
    if media == "screen":
        assert opened.evaluate(WIDE)


def test_the_pointer_reads_the_values_beneath_it(opened):
    plot = opened.locator("#trace .u-over")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    opened.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 20)
    said = opened.locator("#trace .under").inner_text()
    assert re.fullmatch(r"(14\.9|15\.0)\d s: wearable −?\d+\.\d°; reference −?\d+\.\d°", said), said
    opened.mouse.move(box["x"] - 200, box["y"] - 100)
    assert opened.locator("#trace .under").inner_text().strip() == ""


def seen(page, plot="trace"):
    """The stretch that the sentence below a plot names, and the sentence."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done, 30)))")
    said = page.locator(f"#{plot}-seen").inner_text()
    low, high = re.match(r"In view: (−?[\d.]+) to ([\d.]+) ", said).groups()
    return float(low.replace("−", "-")), float(high), said


def test_keys_alone_choose_move_and_zoom(opened):
    for _ in range(60):
        opened.keyboard.press("Tab")
        if opened.evaluate("document.activeElement.id") == "recording":
            break
    assert opened.evaluate("document.activeElement.id") == "recording"
    before = opened.locator("#words").inner_text()
    opened.keyboard.press("ArrowDown")
    assert opened.locator("#words").inner_text() != before
    opened.keyboard.press("ArrowUp")
    for _ in range(6):  # past the five buttons
        opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.className") == "canvas"
    low, high, _ = seen(opened)
    opened.keyboard.press("ArrowRight")
    moved = seen(opened)
    assert moved[:2] == pytest.approx((low + (high - low) / 4, high + (high - low) / 4), abs=0.02)
    opened.keyboard.press("+")
    assert seen(opened)[1] - seen(opened)[0] == pytest.approx((high - low) / 2, abs=0.02)
    opened.keyboard.press("-")
    opened.keyboard.press("0")
    low, high, said = seen(opened)
    assert (low, high) == pytest.approx((0, 29.99), abs=0.02)
    assert "wearable" in said
    assert "with a gap" in said
    opened.keyboard.press("ArrowLeft")
    assert seen(opened)[:2] == (low, high)  # stays within the recording


def test_buttons_do_the_same_and_what_is_seen_is_a_polite_status(opened):
    status = opened.locator("#trace-seen")
    assert status.get_attribute("role") == "status"
    assert status.get_attribute("aria-live") == "polite"
    bar = opened.get_by_role("toolbar", name="Both instruments over time: view")
    bar.get_by_role("button", name="Show all").click()
    low, high, _ = seen(opened)
    bar.get_by_role("button", name="Zoom in").click()
    assert seen(opened)[1] - seen(opened)[0] == pytest.approx((high - low) / 2, abs=0.02)
    cycles = opened.get_by_role("toolbar", name="Mean curves over the cycle: view")
    cycles.get_by_role("button", name="Zoom in").click()
    assert seen(opened, "cycle")[:2] == pytest.approx((25, 75), abs=0.6)


def test_dragging_zooms_and_is_told(opened):
    plot = opened.locator("#trace .u-over")
    plot.scroll_into_view_if_needed()
    before, box = seen(opened), plot.bounding_box()
    opened.mouse.move(box["x"] + 100, box["y"] + 40)
    opened.mouse.down()
    opened.mouse.move(box["x"] + 300, box["y"] + 40, steps=4)
    opened.mouse.up()
    low, high, _ = seen(opened)
    assert high - low == pytest.approx(200 / box["width"] * (before[1] - before[0]), rel=0.05)


INK_OF_A_COLUMN = """([from, to]) => {
  const canvas = document.querySelector("#trace canvas");
  const over = document.querySelector("#trace .u-over").getBoundingClientRect();
  const own = canvas.getBoundingClientRect(), per = canvas.width / own.width;
  const x = Math.round((over.left - own.left + from * over.width) * per);
  const width = Math.max(1, Math.round((to - from) * over.width * per));
  const y = Math.round((over.top - own.top) * per), height = Math.round(over.height * per);
  const d = canvas.getContext("2d").getImageData(x, y, width, height).data;
  let blue = 0;
  for (let i = 0; i < d.length; i += 4)
    if (d[i + 3] > 128 && d[i + 2] > d[i] + 60) blue++;
  return blue;
}"""


def test_nothing_is_drawn_across_a_gap(opened):
    """The wearable lacks its values from 3.0 to 3.4 s; its blue ink ends and begins again there."""
    opened.get_by_role("toolbar", name="Both instruments over time: view").get_by_role(
        "button", name="Show all"
    ).click()
    for _ in range(3):
        opened.locator("#trace [data-do=in]").click()
    for _ in range(30):
        opened.locator("#trace [data-do=left]").click()
    low, high, _ = seen(opened)
    assert low < 3.0 < 3.4 < high

    def blue(start, end):
        span = [(start - low) / (high - low), (end - low) / (high - low)]
        return opened.evaluate(INK_OF_A_COLUMN, span)

    assert blue(2.5, 2.9) > 30
    assert blue(3.05, 3.35) == 0
    assert blue(3.5, 3.9) > 30


def test_a_copied_table_is_the_text_of_its_cells(opened):
    table = opened.locator("table").first
    copied = table.evaluate(
        "table => { const range = document.createRange();"
        "range.selectNodeContents(table.tBodies[0]); const chosen = getSelection();"
        "chosen.removeAllRanges(); chosen.addRange(range);"
        "return chosen.toString() }"
    )
    cells = table.locator("tbody th, tbody td").all_inner_texts()
    assert copied.split("\n")[0].split("\t")[:4] == cells[:4]
    assert any("−" in cell for cell in cells)
    assert not set("\u00a0\u200b") & set(copied)


def test_wide_tables_move_by_keys_within_their_frames(opened):
    opened.set_viewport_size({"width": 320, "height": 800})
    frame = opened.get_by_role("region", name="Table 1", exact=True)
    frame.focus()
    opened.keyboard.press("ArrowRight")
    opened.wait_for_function("frame => frame.scrollLeft > 0", arg=frame.element_handle())


def test_print_leaves_out_what_paper_cannot_do(opened):
    opened.emulate_media(media="print")
    assert not opened.locator("#explorer").is_visible()
    assert not opened.locator("nav").is_visible()
    assert opened.get_by_text("What the plots show.").is_visible()
    pdf = opened.pdf(format="A4")
    assert 3 < len(re.findall(rb"/Type\s*/Page\b", pdf)) < 12
    too_wide = opened.evaluate(
        "() => { document.body.style.width = '182mm';"
        "return [...document.querySelectorAll('table')]"
        ".filter(t => t.offsetWidth > document.body.clientWidth + 1)"
        ".map(t => `${t.caption.innerText} ${t.offsetWidth}`) }"
    )
    assert too_wide == []


def test_forced_colours_leave_figures_legible(opened):
    opened.emulate_media(forced_colors="active")
    looks = opened.locator("figure svg text").first.evaluate(
        "text => [getComputedStyle(text).fill,"
        "getComputedStyle(text.closest('svg')).backgroundColor]"
    )
    assert looks == ["rgb(34, 34, 34)", "rgb(255, 255, 255)"]
    assert violations(opened) == []


def test_without_a_script_the_page_says_the_same(chromium, address):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    assert page.get_by_role("heading", name="The answer").is_visible()
    assert not page.locator("#explorer").is_visible()
    assert page.get_by_text("What the plots show.").is_visible()
    context.close()


def fail_all(results):
    trials = results.trials
    for k in range(len(trials)):
        results = _invented.fail(results, k, "file.csv: no column `angle`")
    return replace(results, **pool_topics(results.trials, results.options))


CASES = {
    "one participant": lambda: _invented.build(participants=("P01",), n=8, minutes=0.1),
    "no reference": lambda: _invented.build(
        participants=("P01",), conditions=("path",), reference=(), procedures=("a",), n=8,
        minutes=0.1,
    ),
    "nothing analysed": lambda: fail_all(
        _invented.build(participants=("P01",), procedures=("a",), n=6, minutes=0.1)
    ),
    "long and foreign names": lambda: _invented.build(
        participants=(LONG, "محمد-٠١"), conditions=("屋外" * 12, "in"), reference=("in",),
        procedures=("kalman-with-a-very-long-name-of-its-own",), title=LONG * 2, n=8, minutes=0.1,
    ),
    "forty participants": lambda: _invented.build(
        participants=[f"P{k:02d}" for k in range(40)], conditions=("indoor",), procedures=("a",),
        n=5, minutes=0.1,
    ),
}  # fmt: skip


AT_NIGHT = ("one participant", "forty participants")


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, marks=[pytest.mark.nightly] * (case in AT_NIGHT)) for case in CASES],
)
def test_odd_studies_give_a_page_without_holes(page, tmp_path, case):
    address = write_page(CASES[case](), tmp_path)
    page.set_viewport_size({"width": 320, "height": 800})
    page.goto(address)
    assert page.get_by_role("heading", name="The answer").is_visible()
    assert page.evaluate(WIDE)
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('figure svg, table, #explorer:not([hidden]) canvas')]"
        ".map(e => e.getBoundingClientRect()).map(b => Math.min(b.width, b.height))"
    )
    assert all(size > 15 for size in boxes)
    for section in page.locator("main > section").all():
        assert len(section.inner_text()) > 40
    if case in ("nothing analysed", "long and foreign names"):
        assert violations(page) == []
