"""A browser for the tests of pages: Debian's Chromium, driven headless and kept offline.

Where no Chromium is found the tests are skipped by name; with TWINANGLE_BROWSER=required, as in
continuous integration, they fail instead.
"""

import os
import shutil
from collections.abc import Iterator

import pytest

playwright = pytest.importorskip("playwright.sync_api")

FLAGS = [
    "--no-sandbox",  # root in a container has no user namespaces
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator["playwright.Browser"]:
    """Yield a headless Chromium; each test opens its own context."""
    path = shutil.which("chromium")
    if path is None:
        if os.environ.get("TWINANGLE_BROWSER") == "required":
            pytest.fail("no `chromium` on the path, which TWINANGLE_BROWSER=required asks for")
        pytest.skip("no Chromium on the path: install Debian's package `chromium`")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium: "playwright.Browser") -> Iterator["playwright.Page"]:
    """Yield a fresh page 1280 pixels wide; an error in its script or console fails the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    yield page
    context.close()
    assert not errors, errors
