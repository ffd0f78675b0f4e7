"""The record page in a browser: on a screen, on a narrow one and on paper.

Not part of the default run, because it needs a browser:

    AXE_CORE=.../axe.min.js python -m pytest tests/browser/browse_page.py
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browsing import chromium, serious_faults
from playwright.sync_api import Browser, Page
from record_samples import SCHEDULE, coupon_files, data_of, full_record, write_schedule

from weldcalc.workflow import write_full_record

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


SCRIPT = "<script>window.ran = 1; alert(1)</script><img src=x onerror='window.ran = 2; alert(2)'>"


def hostile(word: str) -> str:
    return f"{word} {SCRIPT}"


@pytest.fixture(scope="module")
def hostile_page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Page of a record with a script in every text that a user may type."""
    work = tmp_path_factory.mktemp("hostile")
    text = SCHEDULE.replace("Invented stem", hostile("stem"))
    text = text.replace('"invented code"', f'"{hostile("code")}"').replace(
        '"2020"', f'"{hostile("edition")}"'
    )
    files = coupon_files(work)
    rows = files["coupons"].read_text(encoding="utf-8").splitlines()
    cells = [f"{rows[0]},note", *(f'{row},"{hostile("note")}"' for row in rows[1:])]
    cells = [line.replace("C1,", f'"{hostile("coupon")}",') for line in cells]
    files["coupons"].write_text("\n".join(cells) + "\n", encoding="utf-8")
    limits = files["acceptance"].read_text(encoding="utf-8")
    files["acceptance"].write_text(
        limits.replace("invented limits", hostile("limits")), encoding="utf-8"
    )
    written = write_full_record(write_schedule(work, text), folder=work / "record", **files)
    assert not written.notes, written.notes
    return (work / "record" / PAGE).as_uri()


@pytest.mark.parametrize("guarded", [True, False])
def test_nothing_that_was_typed_runs(browser: Browser, hostile_page: str, guarded: bool) -> None:
    """Also without the page's own policy: escaping alone has to be enough."""
    made = browser.new_context(bypass_csp=not guarded).new_page()
    opened: list[str] = []
    made.on("dialog", lambda dialog: (opened.append(dialog.message), dialog.dismiss()))
    made.goto(hostile_page)
    made.wait_for_timeout(300)
    words = made.inner_text("body")
    for word in ("stem", "code", "edition", "coupon"):
        assert hostile(word) in words.replace("\n", " ")
    assert opened == []
    assert made.evaluate("window.ran") is None
    assert made.evaluate("document.scripts.length") == 0
    assert made.evaluate("document.querySelectorAll('[onerror]').length") == 0
    made.close()
