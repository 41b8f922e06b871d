"""The documentation as a site, on a phone's width: no page is wider, none asks another host.

Skipped where `make docs` has not built it. Pages of the Python reference, one a name and all of one
kind, are looked at where TWINANGLE_NIGHTLY is set; a few of them always.
"""

import os
from pathlib import Path

import pytest

SITE = Path(__file__).resolve().parents[2] / "docs/_build/html"
NIGHTLY = bool(os.environ.get("TWINANGLE_NIGHTLY"))
WIDER = """() => [...document.querySelectorAll("article *")]
  .filter((each) => each.getBoundingClientRect().right > innerWidth + 1)
  .filter((each) => {
    for (let over = each.parentElement; over; over = over.parentElement)
      if (getComputedStyle(over).overflowX !== "visible") return false;
    return true;
  })
  .map((each) => each.tagName + " " + each.textContent.slice(0, 60)).slice(0, 3)"""


def pages():
    found = sorted(SITE.rglob("*.html"))
    names = [page for page in found if page.parent.name == "api"]
    return found if NIGHTLY else [page for page in found if page not in names[10:]]


@pytest.fixture
def phone(page):
    """Return a page as wide as a phone, and note every address that is asked for."""
    page.set_viewport_size({"width": 390, "height": 844})
    page.asked = []
    page.on("request", lambda request: page.asked.append(request.url))
    return page


@pytest.mark.skipif(not (SITE / "index.html").is_file(), reason="no site: `make docs` builds it")
def test_no_page_is_wider_than_a_phone_and_none_asks_a_host(phone):
    looked = 0
    for path in pages():
        phone.goto(path.as_uri())
        wide = phone.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390, (path.name, wide, phone.evaluate(WIDER))
        looked += 1
    assert looked > 20
    assert {url.split(":")[0] for url in phone.asked} <= {"file", "data"}
