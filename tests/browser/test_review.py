"""The page as a person uses it: look, zoom, drag a lag, leave a cycle out; two pages at once."""

import csv
import importlib.util
import json
import os
import re
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from twinangle.analysis import analyse_trial
from twinangle.study import read_study

axe_module = pytest.importorskip("axe_playwright_python.sync_playwright")
expect = pytest.importorskip("playwright.sync_api").expect

_place = Path(__file__).parents[1] / "review" / "walks.py"
_spec = importlib.util.spec_from_file_location("walks_of_the_page", _place)
walks = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(walks)


WAIT_MS = 20_000
COMMAND = "from twinangle.cli import main; main()"
INK = """name => {
  const c = document.querySelector(`.row-${name} canvas`);
  const d = c.getContext('2d').getImageData(60, 0, c.width - 60, c.height).data;
  let n = 0; for (let i = 3; i < d.length; i += 4) if (d[i] > 200) n++; return n}"""

POINT = """path => { const at = path.getPointAtLength(path.getTotalLength() / 3);
  const seen = at.matrixTransform(path.getScreenCTM()); return [seen.x, seen.y]; }"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    path = walks.write_walks(tmp_path_factory.mktemp("page") / "study")
    with path.open("a", encoding="utf-8") as stream:
        stream.write('[report]\ndocuments = ["report.html"]\n')
    return path


@pytest.fixture(scope="module")
def address(chromium, study):
    """Start the command, and hand out the address that it prints alone on a line."""
    with reviewed(study) as found:
        yield found


STOPPED: set[str] = set()  # addresses that the page itself has stopped


@contextmanager
def reviewed(study):
    with subprocess.Popen(
        [sys.executable, "-c", COMMAND, "review", str(study), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | {"COLUMNS": "20"},
    ) as running:
        lines = iter(running.stdout.readline, "")
        found = next(
            line for line in lines if re.fullmatch(r"http://127\.0\.0\.1:\d+/\S+/\n", line)
        )
        try:
            yield found.strip()
        finally:  # a test that fails leaves nobody waiting
            if found.strip() in STOPPED:  # it is ending by now: a signal would only cut that short
                running.wait(20)
            if running.poll() is None:
                running.send_signal(signal.SIGINT)
        assert running.wait(20) == 0  # Ctrl-C, or the page, ends it cleanly
        assert "Traceback" not in running.stdout.read()


def open_list(page, address):
    page.goto(address)
    expect(page.locator("#list > li")).to_have_count(4, timeout=WAIT_MS)
    expect(page.locator("#progress")).not_to_contain_text("analysed so far", timeout=WAIT_MS)


def open_recording(page, address, number):
    open_list(page, address)
    page.locator(f'#list a[href="#r{number}"]').click()
    expect(page.locator("#decisions")).to_be_visible(timeout=WAIT_MS)
    expect(page.locator("#cycle-list button").first).to_be_visible(timeout=WAIT_MS)


def no_rule_broken(page):
    """Hold the page against the rules of axe-core."""
    found = axe_module.Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def decisions(study):
    path = study.parent / "decisions.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def save(page, reason):
    page.locator("#why-choice").select_option(reason)
    page.get_by_role("button", name="Save the decision").click()
    expect(page.locator("#pending")).to_be_hidden(timeout=WAIT_MS)


def test_list_and_recording_break_no_rule_and_ask_nobody_else(page, address):
    requests = []
    page.on("request", lambda request: requests.append(request.url))
    open_list(page, address)
    assert page.locator("#list a").first.inner_text().startswith("P01 indoor")  # refused: first
    no_rule_broken(page)
    page.locator("#list a").first.click()
    expect(page.locator("#placed")).to_contain_text("offset", timeout=WAIT_MS)
    page.locator("#decide-lag").click()
    no_rule_broken(page)
    assert requests
    assert not [url for url in requests if not url.startswith(address)]


def test_filter_and_order(page, address):
    open_list(page, address)
    page.locator("#filter-show").select_option("refused")
    expect(page.locator("#list > li")).to_have_count(1)
    page.locator("#filter-show").select_option("all")
    page.locator("#filter-text").fill("outdoor")
    expect(page.locator("#list > li")).to_have_count(2)
    page.locator("#filter-text").fill("")
    page.locator("#sort-by").select_option("condition")
    assert page.locator("#list a").all_inner_texts()[1].startswith("P02 indoor")


def test_zoom_by_wheel_and_gaps_at_every_zoom(page, address):
    open_recording(page, address, 2)
    over = page.locator(".row-wearable .u-over")
    box = over.bounding_box()
    before = float(page.locator("#view-to").input_value())
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 40)
    page.mouse.wheel(0, -300)
    expect(page.locator("#view-to")).not_to_have_value(f"{before:.2f}")
    assert float(page.locator("#view-to").input_value()) < before
    gap = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--gap')")
    assert gap.strip() == "#8a0e6b"
    seen = """() => { const c = document.querySelector('.row-reference canvas');
      const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0;
      for (let i = 0; i < d.length; i += 4)
        if (d[i] === 0x8a && d[i + 1] === 0x0e && d[i + 2] === 0x6b) n++;
      return n; }"""
    page.get_by_role("button", name="Whole recording").click()
    for _ in range(4):
        page.wait_for_timeout(120)
        assert page.evaluate(seen) > 0
        page.locator("#view-from").fill(
            str((float(page.locator("#view-from").input_value()) + 21.6) / 2)
        )
        page.locator("#view-from").press("Tab")
    assert page.evaluate(INK, "wearable") > 100


def test_a_lag_is_dragged_saved_and_honoured_by_a_run(page, address, study):
    open_recording(page, address, 0)
    expect(page.locator("#placed")).to_contain_text("offset", timeout=WAIT_MS)
    was = page.locator("#lag").input_value()
    plot = page.locator("svg.correlation")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.55 * box["width"], box["y"] + 60, steps=4)
    page.mouse.up()
    expect(page.locator("#lag")).not_to_have_value(was)
    told = page.locator("#placed").inner_text()
    page.locator("#lag").fill(str(walks.LAG_S))  # the number beside the drag
    expect(page.locator("#placed")).not_to_have_text(told, timeout=WAIT_MS)
    page.locator("#decide-lag").click()
    page.locator("#pending-look").click()
    expect(page.locator("#pending-effect table")).to_contain_text(
        "limit of agreement", timeout=WAIT_MS
    )
    page.get_by_role("button", name="Save the decision").click()
    expect(page.locator("#pending-wrong")).to_contain_text("reason")
    save(page, "known from the protocol")
    expect(page.locator("#recording-flags")).not_to_contain_text("refused", timeout=WAIT_MS)
    last = decisions(study)[-1]
    assert (last["kind"], last["value"]["lag_s"]) == ("lag", walks.LAG_S)
    page.reload()
    expect(page.locator("#decisions")).to_contain_text("lag 1.500 s", timeout=WAIT_MS)
    trial = read_study(study).trials[0]
    assert analyse_trial(read_study(study), trial)[0].synchronisation.lag_s == walks.LAG_S


def test_a_cycle_is_left_out_by_keys_alone_and_another_page_sees_it(chromium, page, address, study):
    other = chromium.new_page()
    open_recording(other, address, 2)
    kept = other.locator('#cycle-list button[aria-pressed="true"]').count()
    open_list(page, address)
    for _ in range(40):  # by Tab to the recording
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('href')") == "#r2":
            break
    page.keyboard.press("Enter")
    expect(page.locator("#cycle-list button").first).to_be_visible(timeout=WAIT_MS)
    for _ in range(60):  # and on to the list of cycles
        page.keyboard.press("Tab")
        if page.evaluate("Boolean(document.activeElement.dataset.cycle)"):
            break
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    chosen = page.evaluate("document.activeElement.textContent")
    page.keyboard.press("Enter")
    expect(page.locator("#pending-head")).to_contain_text("out")
    page.keyboard.press("Escape")
    expect(page.locator("#pending")).to_be_hidden()
    assert page.evaluate("document.activeElement.textContent") == chosen  # the focus is back
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowDown")  # the first reason
    page.keyboard.press("Tab")
    page.keyboard.type("seen in both traces")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("Saved", timeout=WAIT_MS)
    pressed = '#cycle-list button[aria-pressed="true"]'
    expect(page.locator(pressed)).to_have_count(kept - 1, timeout=WAIT_MS)
    expect(other.locator(pressed)).to_have_count(kept - 1, timeout=WAIT_MS)
    expect(other.locator("#decisions")).to_contain_text("seen in both traces")
    other.close()
    last = decisions(study)[-1]
    assert last["kind"] == "cycle"
    assert last["value"]["use"] is False
    assert "seen in both traces" in last["why"]
    result = analyse_trial(read_study(study), read_study(study).trials[2])[0]
    assert sum("by hand" in reason for reason in result.cycles.reason) == 1


def test_what_is_left_out_by_a_click_is_honoured_by_the_command_run(
    chromium, page, address, study, tmp_path
):
    open_recording(page, address, 2)
    plot = page.locator("svg.cycles-pick").first
    plot.scroll_into_view_if_needed()
    page.mouse.click(*plot.locator("path.curve.wearable").nth(4).evaluate(POINT))
    expect(page.locator("#pending-head")).to_contain_text("out")
    start = float(re.search(r"at ([0-9.]+) s", page.locator("#pending-head").inner_text())[1])
    page.locator("#pending-look").click()
    expect(page.locator("#pending-effect table")).to_contain_text("peak flexion", timeout=WAIT_MS)
    save(page, "stumble or obstacle")
    page.reload()
    said = f"cycle at {start:.2f} s out — stumble or obstacle"
    expect(page.locator("#decisions")).to_contain_text(said, timeout=WAIT_MS)
    other = chromium.new_page()
    open_recording(other, address, 2)
    expect(other.locator("#decisions")).to_contain_text(said)
    other.close()
    out = tmp_path / "out"
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "run", str(study), "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    # the first recording's strides cannot be told apart until its lag is chosen, in a test before
    chosen = any(one["kind"] == "lag" for one in decisions(study))
    assert done.returncode == (0 if chosen else 1), done.stdout + done.stderr
    with (out / "tables" / "cycles.csv").open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["participant"] == "P02"]
    (row,) = [one for one in rows if one["condition"] == "indoor" and near(one, start)]
    assert (row["kept"], row["reason"]) == ("False", "by hand: stumble or obstacle")
    told = (out / "tables" / "decisions.csv").read_text(encoding="utf-8")
    assert "stumble or obstacle" in told
    assert "stumble or obstacle" in (out / "report.html").read_text(encoding="utf-8")


def near(row, start_s):
    return abs(float(row["start_s"]) - start_s) < 0.01


def test_an_edge_of_a_band_is_dragged(page, address):
    open_recording(page, address, 3)
    over = page.locator(".row-wearable .u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    left, right = (float(page.locator(f"#view-{end}").input_value()) for end in ("from", "to"))
    start = float(page.locator("#analysed-start_s").input_value())
    x = box["x"] + (start - left) / (right - left) * box["width"]
    page.mouse.move(x, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(x + 60, box["y"] + 60, steps=4)
    page.mouse.up()
    expect(page.locator("#pending-head")).to_contain_text("Analysed stretch")
    moved = float(page.locator("#analysed-start_s").input_value())
    assert moved > start + 0.5
    page.keyboard.press("Escape")
    # the whole of it: both ends go by as much
    end = float(page.locator("#analysed-end_s").input_value())
    page.get_by_label("a whole band").check()
    middle = box["x"] + box["width"] / 2
    page.mouse.move(middle, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(middle - 40, box["y"] + 60, steps=4)
    page.mouse.up()
    expect(page.locator("#pending-head")).to_contain_text("Analysed stretch")
    ends = [float(page.locator(f"#analysed-{one}_s").input_value()) for one in ("start", "end")]
    assert moved - ends[0] == pytest.approx(end - ends[1], abs=0.02)
    assert moved - ends[0] == pytest.approx(40 * (right - left) / box["width"], abs=0.1)
    page.keyboard.press("Escape")


def test_a_click_into_the_difference_chooses_its_cycle_and_panning_ends(page, address):
    open_recording(page, address, 2)
    expect(page.locator(".row-difference canvas")).to_be_visible(timeout=WAIT_MS)
    over = page.locator(".row-difference .u-over")
    over.scroll_into_view_if_needed()
    over.click(position={"x": over.bounding_box()["width"] / 2, "y": 40})
    expect(page.locator("#said")).to_contain_text("Enter takes it in or out")
    name = page.evaluate("document.activeElement.textContent")
    assert name in page.locator('#cycle-list button[aria-current="true"]').inner_text()
    page.locator("#view-from").fill("30")
    page.locator("#view-to").fill("32")
    page.locator("#view-to").press("Tab")
    expect(page.locator("#traces-told")).to_contain_text("30.0 s to 32.0 s")
    whole = float(re.search(r"of ([0-9.]+) s", page.locator("#traces-told").inner_text())[1])
    told = page.locator("#traces-told").inner_text()
    begin, end = re.search(r"reference \d+, which covers ([0-9.]+) s to ([0-9.]+) s", told).groups()
    assert (float(begin), float(end)) == pytest.approx((2.0, 2.0 + whole), abs=0.06)
    for _ in range(6):
        page.get_by_role("button", name="Later").click()
    span = [float(page.locator(f"#view-{one}").input_value()) for one in ("from", "to")]
    assert span[1] - span[0] == pytest.approx(2.0, abs=0.02)
    assert span[1] < 3.5 + whole + 0.2  # a twentieth of the picture, not of the recording
    page.locator("#lag").fill("6.5")  # the reference begins at 0 on its own clock
    page.locator("#lag").press("Tab")
    expect(page.locator("#traces-told")).to_contain_text("which covers 6.5 s to 34.5 s of it")
    page.locator("#lag").fill("1.6")
    expect(page.locator("#drift-told")).to_contain_text("Drift 0: both clocks are taken to run")
    page.locator("#fit-drift").click()  # this walk was recorded at a lag of 1.5 s
    expect(page.locator("#lag")).to_have_value(re.compile(r"^1\.(49|50)"), timeout=WAIT_MS)


def test_of_several_instruments_one_pair_is_chosen_mended_and_told(page, tmp_path):
    path = walks.write_pairs(tmp_path / "pairs")
    with reviewed(path) as place:
        page.goto(place)
        expect(page.locator("#list > li")).to_have_count(6, timeout=WAIT_MS)
        expect(page.locator("#progress")).not_to_contain_text("analysed so far", timeout=WAIT_MS)
        first = page.locator("#list > li").first
        expect(first).to_contain_text("P01 indoor session 1 trial 1: strap against optical")
        page.locator("#filter-instruments").select_option("sleeve against optical")
        expect(page.locator("#list > li")).to_have_count(2)  # and outdoors, without a reference
        page.locator("#list a").first.click()
        expect(page.locator("#cycle-list button").first).to_be_visible(timeout=WAIT_MS)
        expect(page.locator("#instruments-here option")).to_have_text(
            [
                "strap against goniometer (analysed)",
                "strap against optical (refused)",
                "sleeve against goniometer (analysed)",
                "sleeve against optical (analysed)",
            ]
        )
        page.locator("#instruments-here").select_option(label="strap against optical (refused)")
        expect(page.locator("#recording-flags")).to_contain_text("refused", timeout=WAIT_MS)
        expect(page.locator("#lag")).to_have_value(re.compile(r"^10\.(49|50)"), timeout=WAIT_MS)
        page.locator("#decide-lag").click()
        expect(page.locator("#holds")).to_have_text("Holds for strap against optical.")
        no_rule_broken(page)
        save(page, "known from the protocol")
        expect(page.locator("#recording-flags")).not_to_contain_text("refused", timeout=WAIT_MS)
        page.set_viewport_size({"width": 320, "height": 700})
        page.locator("#decide-recording").click()
        page.locator("#holds").select_option(label="every wearable against optical")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        save(page, "reference slipped")
        made = decisions(path)
        assert [one["kind"] for one in made] == ["lag", "recording"]
        assert [one.get("wearable") for one in made] == ["strap", None]
        assert [one["reference"] for one in made] == ["optical", "optical"]
        page.get_by_role("link", name="All recordings").click()
        page.locator("#filter-instruments").select_option("")
        out = page.locator("#list > li").filter(has_text="not analysed")
        expect(out).to_have_count(2, timeout=WAIT_MS)
        page.get_by_role("button", name="Decide blind").click()
        expect(page.locator("#blind")).to_be_visible(timeout=WAIT_MS)
        page.get_by_role("button", name="Show the comparison").click()
        expect(page.locator("#blind")).to_be_hidden(timeout=WAIT_MS)
        assert [one["value"] for one in decisions(path)[2:]] == [{"on": True}, {"on": False}]
        page.goto("about:blank")  # asks nobody any more when the command ends


@pytest.mark.parametrize("number", [None, 2])
def test_at_320_pixels_nothing_is_wider_than_the_window(chromium, address, number):
    page = chromium.new_page(viewport={"width": 320, "height": 700})
    if number is None:
        open_list(page, address)
    else:
        open_recording(page, address, number)
        expect(page.locator("#placed")).to_contain_text("offset", timeout=WAIT_MS)
        page.locator("#decide-lag").click()
        ends = (
            "[...document.querySelectorAll('#pending *')].map(e => e.getBoundingClientRect().right)"
        )
        assert max(page.evaluate(ends)) <= 320
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.close()


def test_in_forced_colours_traces_and_cycles_are_still_seen(chromium, address):
    page = chromium.new_page(forced_colors="active")
    open_recording(page, address, 2)
    expect(page.locator(".row-difference canvas")).to_be_visible(timeout=WAIT_MS)
    page.wait_for_timeout(300)
    for name in ("wearable", "reference", "difference"):
        assert page.evaluate(INK, name) > 300
    colours = page.evaluate(
        "['.curve.wearable', '.mean.reference'].map(s => getComputedStyle("
        "document.querySelector('#recording-body ' + s)).stroke)"
    )
    assert len(set(colours)) == 2
    no_rule_broken(page)
    page.close()


def test_the_page_stops_the_command(page, address):
    open_list(page, address)
    page.wait_for_load_state("networkidle")  # what is still on its way would be cut off
    page.get_by_role("button", name="Stop the review").click()
    expect(page.locator("#said")).to_contain_text("Stopped")
    STOPPED.add(address)
