"""Makes the pictures of the README again: ``python tests/browser/make_pictures.py``.

Needs the system's Chromium.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from browsing import chromium, lab, run_all_cells, time_of_move
from PIL import Image  # comes with matplotlib
from playwright.sync_api import Browser

from weldcalc import model_check
from weldcalc.card import setup_card
from weldcalc.notebook import copy_notebooks
from weldcalc.prediction import estimate
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, load_schedule
from weldcalc.workflow import write_full_record

PICTURES = Path(__file__).resolve().parents[2] / "docs" / "pictures"
LARGEST = 150_000  # bytes


def record_page(browser: Browser, record: Path) -> Path:
    """Take the first screen of the record page."""
    page = browser.new_page(viewport={"width": 1120, "height": 800})
    page.goto((record / "record.html").as_uri())
    target = PICTURES / "record_page.png"
    page.screenshot(path=target)
    page.close()
    return target


def trainee_notebook(browser: Browser, work: Path) -> Path:
    """Take the panel of the trainee's notebook after a move that shows something."""
    copy_notebooks(work / "mine")
    page = browser.new_page(viewport={"width": 1440, "height": 1200})
    with lab(work / "mine", work) as shown:
        shown.open(page, "overlap_and_speed.ipynb")
        run_all_cells(page)
        page.wait_for_selector(".weldcalc-trainee .noUi-handle[aria-label]")
        for name, key in (("peak power", "PageUp"), ("travel speed", "PageUp")):
            time_of_move(page, name, key)
        target = PICTURES / "overlap_and_speed.png"
        page.locator(".weldcalc-trainee").first.screenshot(path=target)
    page.close()
    return target


def set_up_card(schedule: Schedule) -> Path:
    """Draw the set-up card."""
    target = PICTURES / "set_up_card.png"
    target.write_bytes(setup_card(schedule, estimate=estimate(schedule)).png(dpi=110))
    return target


def predicted_against_measured() -> Path:
    """Draw the depths and widths of all published pulses."""
    target = PICTURES / "predicted_against_measured.png"
    target.write_bytes(model_check.size_figure(model_check.check_model()).png(dpi=110))
    return target


def with_few_colours(path: Path) -> None:
    """Write a picture again with 256 colours: drawings and text need no more, and fewer bytes."""
    with Image.open(path) as image:
        few = image.convert("RGB").quantize(
            256, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
        )
    few.save(path, optimize=True)


def main() -> int:
    """Make all pictures; 1 when one is too large."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        work = Path(folder)
        schedule = load_schedule(data_folder() / "demo" / "level_gauge_stem.toml")
        write_full_record(schedule, folder=work / "record")
        made = [
            record_page(browser, work / "record"),
            trainee_notebook(browser, work),
            set_up_card(schedule),
            predicted_against_measured(),
        ]
    for path in made:
        with_few_colours(path)
    sizes = {path.name: path.stat().st_size for path in made}
    sys.stderr.write("".join(f"{name}: {size} bytes\n" for name, size in sizes.items()))
    return int(max(sizes.values()) > LARGEST)


if __name__ == "__main__":
    sys.exit(main())
