"""The record page in a browser: on a screen, on a narrow one and on paper.

Not part of the default run, because it needs a browser:

    AXE_CORE=.../axe.min.js python -m pytest tests/browser/browse_page.py
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browsing import chromium, serious_faults
from playwright.sync_api import Browser, Page
from record_samples import data_of, full_record

PAGE = "record.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as made:
        yield made


@pytest.fixture
def asked() -> list[str]:
    """Addresses that the page asked for."""
    return []


@pytest.fixture
def page(browser: Browser, asked: list[str]) -> Iterator[Page]:
    made = browser.new_page(viewport={"width": 1280, "height": 1000})
    made.on("request", lambda request: asked.append(request.url))
    made.goto((full_record() / PAGE).as_uri())
    yield made
    made.close()


def too_wide(page: Page) -> float:
    """Return by how much the page is wider than the window [px]."""
    return page.evaluate("document.documentElement.scrollWidth - window.innerWidth")


def test_asks_for_nothing_but_itself(page, asked):
    assert [url for url in asked if not url.startswith("data:")] == [page.url]


def test_shows_number_status_and_pictures(page):
    words = page.inner_text("body")
    assert data_of(full_record())["record_sha256"][:12] in words.replace("\n", "")
    assert "DRAFT" in words
    broken = "[...document.images].filter((one) => !one.complete || !one.naturalWidth).length"
    assert page.evaluate(broken) == 0
    assert page.locator("img").count() > 0
    assert page.locator("img:not([alt]), img[alt='']").count() == 0


@pytest.mark.parametrize("width", [1280, 760])
def test_needs_no_sideways_scrolling(page, width):
    page.set_viewport_size({"width": width, "height": 1000})
    assert too_wide(page) <= 0


@pytest.mark.parametrize("media", ["screen", "print"])
def test_has_no_serious_accessibility_fault(page, media):
    page.emulate_media(media=media)
    assert serious_faults(page) == []


def test_prints_on_several_sheets_without_losing_a_table(page, tmp_path):
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 718, "height": 1000})  # A4 less margins of 1 cm, 96 dots/inch
    assert too_wide(page) <= 0
    sheets = page.pdf(path=tmp_path / "record.pdf", format="A4", print_background=True)
    assert sheets.startswith(b"%PDF")
    assert sheets.count(b"/Type /Page\n") + sheets.count(b"/Type /Page ") >= 2
